"""Stages that reduce pictures to the board's codes."""
