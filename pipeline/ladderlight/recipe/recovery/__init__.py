"""What a recipe with mistakes was meant to say, so that all mistakes are found at once."""
