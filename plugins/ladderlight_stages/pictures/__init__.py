"""Stages from picture to picture."""
