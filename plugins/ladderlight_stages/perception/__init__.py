"""What the eye sees of a reduction: measures, reach of the palette, density of pixels."""
