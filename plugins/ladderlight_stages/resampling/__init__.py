"""Resampling of pictures in linear light."""
