"""A build on disk: the output folder, its manifest, the last build, what was burned."""
