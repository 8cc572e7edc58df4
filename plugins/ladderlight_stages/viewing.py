"""How large a board's pixels appear to somebody in front of the screen."""

from __future__ import annotations

from math import radians

from ladderlight import Board


def pixels_per_degree(pixel: float, distance: float) -> float:
    """Give how many pixels of a size fit one degree at a distance, both in the same unit."""
    return radians(1.0) * distance / pixel


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
