"""What flows through a chain: pictures, coded pictures, contents, device files."""
