"""Error diffusion's palette lookups, rows and loops."""
