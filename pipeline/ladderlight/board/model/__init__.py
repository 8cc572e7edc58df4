"""The board as declared: raster, wiring, memories, ladder, and its palette."""
