"""What the device file formats have in common."""
