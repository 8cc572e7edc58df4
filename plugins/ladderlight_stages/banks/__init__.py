"""Dealing pictures to banks, and what to do when they do not fit."""
