"""Changing the size of pictures in linear light."""
