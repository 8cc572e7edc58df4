"""Ordered dithering."""
