"""Proportions of pictures, and the size that a stage asks for."""
