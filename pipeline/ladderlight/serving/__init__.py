"""The pages of a build that is being watched, served to browsers on the same machine."""
