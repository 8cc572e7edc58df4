"""Cropping to the board's proportions."""
