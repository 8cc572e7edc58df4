"""Pictures cut into tiles, which are thinned, numbered and placed through a map."""
