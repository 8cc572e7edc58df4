"""Chips that were read back: compared with the last build, diagnosed, and turned into pictures."""
