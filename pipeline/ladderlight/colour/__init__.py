"""Lightness, OKLab, and the place from which the screen is seen."""
