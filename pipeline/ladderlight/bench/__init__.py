"""The bench: from a board to its wiring, parts, counts and meter readings."""
