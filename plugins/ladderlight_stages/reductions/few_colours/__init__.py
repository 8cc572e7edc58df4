"""Choosing few colours for a look-up memory."""
