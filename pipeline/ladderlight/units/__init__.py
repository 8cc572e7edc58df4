"""Quantities with units, in and out of words."""
