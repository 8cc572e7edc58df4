"""Proportions of pictures against the screen's, and the size in which a stage needs them."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from ladderlight import Board, Box, Demand, Frozen, Picture
from ladderlight.units.arrays import Singles
from ladderlight_stages.halftone.exact import exact_codes


def as_demanded(demand: Demand, _board: Board, _options: Mapping[str, Any]) -> Demand:
    """Return the next stage's demand: this stage takes pictures of any size, and neither cuts nor enlarges."""
    return demand


def screen_aspect(board: Board) -> float:
    """Return the width of the board's picture over its height, as seen on the screen."""
    geometry = board.geometry
    return geometry.width * geometry.pixel_aspect / geometry.height


class Part(Frozen):
    """A part of a picture, in whole pixels; the ends are not in it."""

    left: int
    top: int
    right: int
    bottom: int

    def of(self, pixels: Singles) -> Singles:
        """Cut this part out of float32 pixels, shape (height, width, 3). Returns a view."""
        return pixels[self.top : self.bottom, self.left : self.right]

    def share_of(self, width: int, height: int) -> Box:
        """Return the part in shares of a picture of this size."""
        return self.left / width, self.top / height, self.right / width, self.bottom / height


def largest_size(width: int, height: int, aspect: float) -> tuple[float, float]:
    """Return width and height, not rounded, of the largest part of these proportions in a picture of square pixels."""
    return min(float(width), height * aspect), min(float(height), width / aspect)


def largest_part(width: int, height: int, aspect: float, *, x: float = 0.5, y: float = 0.5) -> Part:
    """Return the largest part of these proportions, width over height, in a picture of square pixels.

    ``x`` and ``y`` are the share of the cut that is made at the left and at the top: 0 keeps the left edge, 0.5 the
    centre. Each side is rounded to whole pixels by itself. A centred part then stays exactly centred, and its width is
    up to one pixel off. Rounding width and place instead would move a picture decoded at an eighth of its size by up to
    four of the file's pixels.
    """
    kept_width, kept_height = largest_size(width, height, aspect)
    left, right = _ends(width, kept_width, x)
    top, bottom = _ends(height, kept_height, y)
    return Part(left=left, top=top, right=right, bottom=bottom)


def _ends(whole: int, kept: float, share: float) -> tuple[int, int]:
    before, after = (whole - kept) * share, (whole - kept) * (1 - share)
    start, end = math.floor(before + 0.5), whole - math.floor(after + 0.5)
    return (start, end) if start < end else (min(start, whole - 1), min(start, whole - 1) + 1)


def shares_around(x: float, y: float, width: int, height: int, aspect: float) -> tuple[float, float]:
    """Return the shares for :func:`largest_part` that centre a point as far as the edges allow.

    The point is in pixels from the left and the top, and may lie outside.
    """
    kept_width, kept_height = largest_size(width, height, aspect)
    return _share_around(x, width, kept_width), _share_around(y, height, kept_height)


def _share_around(place: float, whole: int, kept: float) -> float:
    return min(1.0, max(0.0, (place - kept / 2) / (whole - kept))) if whole > kept else 0.5


def framed(picture: Picture, aspect: float, colour: Singles) -> Picture:
    """Return a picture centred in a border, of a colour in linear light, (3,), that makes it these proportions."""
    height, width = map(int, picture.pixels.shape[:2])
    wide = width > height * aspect
    new_width = width if wide else max(width, round(height * aspect))
    new_height = max(height, round(width / aspect)) if wide else height
    canvas = np.empty((new_height, new_width, 3), dtype=np.float32)
    canvas[:] = colour
    y, x = (new_height - height) // 2, (new_width - width) // 2
    canvas[y : y + height, x : x + width] = picture.pixels
    part = Part(left=-x, top=-y, right=new_width - x, bottom=new_height - y)
    return picture.with_pixels(canvas, part.share_of(width, height))


def within_a_pixel(width: int, height: int, aspect: float) -> bool:
    """Whether a picture of square pixels has these proportions, to within one pixel of either side."""
    return abs(width - height * aspect) < 1.001 or abs(height - width / aspect) < 1.001


MUCH = 0.15
"""Share of a picture that is cut off only with a caution."""


def part_of(picture: Picture, part: Part) -> Picture:
    """Return a part of a picture."""
    height, width = picture.pixels.shape[:2]
    if (part.left, part.top, part.right, part.bottom) == (0, 0, width, height):
        return picture
    return picture.with_pixels(part.of(picture.pixels), part.share_of(width, height))


def cut_to(picture: Picture, part: Part, *, advice: str) -> Picture:
    """Return a part of a picture; with a caution when much is cut off, and how to keep it."""
    kept = part_of(picture, part)
    share = 1 - kept.pixels[..., 0].size / picture.pixels[..., 0].size
    if share <= MUCH:
        return kept
    caution = f"{share:.0%} of the picture is cut off".replace("%", " %") + f"; {advice}"
    before = picture.notes.get("caution")
    return kept.with_notes({"caution": f"{before}; {caution}" if before else caution})


def enlargement(picture: Picture, board: Board) -> tuple[int, int] | None:
    """Return the whole factors (x, y) by which a picture of the board's size was enlarged by repeating its pixels.

    (1, 1) for a picture of just that size, None for any other. Its pixels are taken to be the board's own, whatever
    their shape on the screen.
    """
    height, width = map(int, picture.pixels.shape[:2])
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
    """Whether a picture has the board's own pixels (see :func:`enlargement`) and only its colours."""
    if enlargement(picture, board) is None:
        return False
    return exact_codes(picture.pixels, board.palette) is not None
