"""Commands that describe the program itself: guides, stages and the schema of recipes."""
