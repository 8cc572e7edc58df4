"""Single faults in a board's wiring: what each is called, which pins it concerns, and what the screen then shows."""
