"""The stage reference, generated from the stages' declarations, with an example of each at work."""
