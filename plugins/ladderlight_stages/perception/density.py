"""The density of a board's pixels for a viewer: pixels in a degree of sight."""

from __future__ import annotations

from dataclasses import replace
from math import radians

from ladderlight import Board, Viewing

USUAL_DISTANCE = 0.6
"""Metres: arm's length, for stages that need a distance where the recipe has none."""


def pixels_per_degree(pixel: float, distance: float) -> float:
    """Return the number of pixels in a degree, from their size and the distance in the same unit."""
    return radians(1.0) * distance / pixel


def at_some_distance(viewing: Viewing) -> Viewing:
    """Return the same, with the usual distance where there is none."""
    return replace(viewing, distance=USUAL_DISTANCE) if viewing.distance is None else viewing


def density_from(board: Board, viewing: Viewing) -> tuple[float, float]:
    """Return ``density_of`` a board from a viewer's distance, or from the usual one."""
    distance = USUAL_DISTANCE if viewing.distance is None else viewing.distance
    return density_of(board, screen_width=viewing.screen_width, distance=distance)


def density_of(board: Board, *, screen_width: float, distance: float) -> tuple[float, float]:
    """Return the number of picture pixels in a degree of sight, across and down.

    Parameters
    ----------
    board
        Its geometry: the pixels across the screen, and their proportions.
    screen_width
        Metres, of the visible picture.
    distance
        Metres, from eye to screen.
    """
    geometry = board.geometry
    width = screen_width / geometry.width
    return pixels_per_degree(width, distance), pixels_per_degree(width / geometry.pixel_aspect, distance)
