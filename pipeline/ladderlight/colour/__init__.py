"""Lightness, OKLab, adaptation to white, and viewing conditions."""
