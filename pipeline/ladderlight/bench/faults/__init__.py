"""Single faults in the wiring of a board: what each is called, which pins it concerns, and what the screen then shows."""
