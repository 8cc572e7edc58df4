"""Proportions of pictures, and the size in which a stage needs them."""
