"""How large a board's pixels appear to somebody in front of the screen."""

from __future__ import annotations

from dataclasses import replace
from math import radians

from ladderlight import Board, Viewing

USUAL_DISTANCE = 0.6
"""Metres: at arm's length, for stages that need a distance when nobody says one."""


def pixels_per_degree(pixel: float, distance: float) -> float:
    """Give how many pixels of a size fit one degree at a distance, both in the same unit."""
    return radians(1.0) * distance / pixel


def at_some_distance(viewing: Viewing) -> Viewing:
    """Give the same, with the usual distance when none is said."""
    return replace(viewing, distance=USUAL_DISTANCE) if viewing.distance is None else viewing


def density_from(board: Board, viewing: Viewing) -> tuple[float, float]:
    """Give how many picture pixels one degree of sight holds, across and down, from the usual distance if none is said.

    Parameters are those of ``density_of``.
    """
    distance = USUAL_DISTANCE if viewing.distance is None else viewing.distance
    return density_of(board, screen_width=viewing.screen_width, distance=distance)


def density_of(board: Board, *, screen_width: float, distance: float) -> tuple[float, float]:
    """Give how many picture pixels one degree of sight holds, across and down.

    Parameters
    ----------
    board
        Its geometry says how many pixels the screen's width holds and how tall they are.
    screen_width
        Metres, of the visible picture.
    distance
        Metres, from eye to screen.
    """
    geometry = board.geometry
    width = screen_width / geometry.width
    return pixels_per_degree(width, distance), pixels_per_degree(width / geometry.pixel_aspect, distance)
