"""Devices and their files: chips, images, formats, checksums, what stands where, and what has been burned."""
