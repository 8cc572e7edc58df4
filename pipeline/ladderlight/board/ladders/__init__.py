"""Choosing and judging the resistors of a ladder."""
