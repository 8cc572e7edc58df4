"""Running a chain over pictures."""
