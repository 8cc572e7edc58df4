"""Stages that place coded pictures in memories."""
