"""Stages that turn contents into files for device programmers."""
