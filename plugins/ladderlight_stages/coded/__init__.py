"""Stages from coded picture to coded picture."""
