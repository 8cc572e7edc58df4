"""Refining a reduction pixel by pixel, and keeping the colours of its areas."""
