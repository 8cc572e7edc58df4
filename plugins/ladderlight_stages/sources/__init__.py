"""Stages that read files."""
