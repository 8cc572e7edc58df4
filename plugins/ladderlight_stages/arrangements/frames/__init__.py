"""Frames of an animation in banks."""
