"""Quantities with units, read from text and written in words; types of arrays."""
