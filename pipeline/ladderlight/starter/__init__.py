"""A first project: a recipe that explains itself, and pictures to build it with."""
