"""Picture files before anything in them is decoded: which format, which frames, how large, and what is refused."""
