"""Cutting pictures into tiles, numbering and thinning them, and placing them through a map."""
