"""Error diffusion and other dithering: tables of a board's colours, rows of errors, and loops."""
