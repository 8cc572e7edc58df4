"""Error diffusion."""
