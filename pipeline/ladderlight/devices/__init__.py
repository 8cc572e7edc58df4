"""Devices and their files: chips, images, formats, checksums, and what lies where."""
