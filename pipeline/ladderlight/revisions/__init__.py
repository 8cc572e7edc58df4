"""Two revisions of a recipe compared: what changes between their boards and builds."""
