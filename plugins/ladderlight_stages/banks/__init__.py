"""Banks for pictures, and what every arrangement checks."""
