"""A picture's proportions against the screen's."""

from __future__ import annotations

import numpy as np

from ladderlight import Board, Picture


def screen_aspect(board: Board) -> float:
    """Give the width of the board's picture over its height, as seen on the screen."""
    geometry = board.geometry
    return geometry.width * geometry.pixel_aspect / geometry.height


def largest_inside(width: int, height: int, aspect: float) -> tuple[int, int]:
    """Give width and height of the largest area of these proportions inside a picture of square pixels."""
    if width > height * aspect:
        return max(1, min(width, round(height * aspect))), height
    return width, max(1, min(height, round(width / aspect)))


def smallest_around(width: int, height: int, aspect: float) -> tuple[int, int]:
    """Give width and height of the smallest area of these proportions around a picture of square pixels."""
    if width > height * aspect:
        return width, max(height, round(width / aspect))
    return max(width, round(height * aspect)), height


def within_a_pixel(width: int, height: int, aspect: float) -> bool:
    """Whether a picture of square pixels has these proportions when one side may be wrong by one pixel."""
    return abs(width - height * aspect) <= 1 or abs(height - width / aspect) <= 1


def enlargement(picture: Picture, board: Board) -> tuple[int, int] | None:
    """Give the whole factors (x, y) by which a picture of the board's size was enlarged by repeating its pixels.

    (1, 1) for a picture of just that size, None for any other. Such a picture is taken to be made of the board's own
    pixels, whatever their shape on the screen.
    """
    height, width = picture.pixels.shape[:2]
    rows, columns = board.geometry.height, board.geometry.width
    if height % rows or width % columns:
        return None
    x, y = width // columns, height // rows
    blocks = picture.pixels.reshape(rows, y, columns, x, 3)
    for part in (blocks[: max(1, rows // 16)], blocks):  # a photograph fails on the first rows
        if not (part == part[:, :1, :, :1]).all():
            return None
    return x, y


def drawn_for(picture: Picture, board: Board) -> bool:
    """Whether a picture is made of the board's own pixels (see :func:`enlargement`) and of nothing but its colours."""
    if enlargement(picture, board) is None:
        return False
    colours = np.ascontiguousarray(picture.pixels).reshape(-1, 3).view("V12")
    known = np.ascontiguousarray(board.palette.linear, dtype=np.float32).view("V12")
    return bool(np.isin(colours[:64], known).all() and np.isin(colours, known).all())
