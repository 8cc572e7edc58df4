"""A photograph of a screen: the raster found in it, and the faults ranked by how well their pictures fit."""
