"""Searching for the codes that look most like the picture."""
