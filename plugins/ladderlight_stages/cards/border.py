"""The edges, the centre and the proportions of the picture."""

import numpy as np

from ladderlight import Board, CodedPicture, stage
from ladderlight.units.arrays import Flags
from ladderlight_stages.drawing import fair_codes

_RADIUS = 0.4  # of the circle, in parts of the shorter side of the screen
_MARK = 24  # a corner mark's square takes this part of the shorter side in pixels
_MARKS = ((0, 0), (0, 1), (1, 1), (1, 0))
"""Bottom and right for the corners from the top left clockwise: one square, two, three, four."""


@stage(help="A frame, a cross, a circle and corner marks: shows position, size and proportions of the picture.")
def border(board: Board) -> CodedPicture:
    """Draw a frame of one pixel, a cross in the centre, a circle, and one to four squares in the corners.

    A frame that is not whole shows wrong counts, sync or blanking. The circle is round on a screen of the monitor's
    proportions. Corners have one square at the top left, two at the top right, three at the bottom right and four at
    the bottom left, so that a mirrored or exchanged quarter shows.
    """
    dark, bright = fair_codes(board, 2)
    width, height = board.geometry.width, board.geometry.height
    lit = np.ones((height, width), dtype=bool)
    lit[1:-1, 1:-1] = False
    lit |= _circle(width, height, board.geometry.pixel_aspect)
    # On an even number of pixels the centre lies between two of them, and the cross has both.
    reach_x, reach_y = width // 8, height // 8
    for middle in ((width - 1) // 2, width // 2):
        lit[height // 2 - reach_y : (height + 1) // 2 + reach_y, middle] = True
    for middle in ((height - 1) // 2, height // 2):
        lit[middle, width // 2 - reach_x : (width + 1) // 2 + reach_x] = True
    _mark_corners(lit)
    return CodedPicture.of_card(np.where(lit, bright, dark).astype(np.uint16))


def _circle(width: int, height: int, aspect: float) -> Flags:
    """Return the outline of a circle in the centre, one pixel wide, whose pixels are ``aspect`` wide and 1 high."""
    radius = _RADIUS * min(width * aspect, height)
    down, across = np.indices((height + 2, width + 2))
    inside = ((across - (width + 1) / 2) * aspect) ** 2 + (down - (height + 1) / 2) ** 2 <= radius**2
    around = inside[:-2, 1:-1] & inside[2:, 1:-1] & inside[1:-1, :-2] & inside[1:-1, 2:]
    return np.asarray(inside[1:-1, 1:-1] & ~around)


def _mark_corners(lit: Flags) -> None:
    """Put squares into the corners, beside each other along the top and the bottom, a gap of a square between them."""
    height, width = lit.shape
    size = max(1, min(width, height) // _MARK)
    for count, (bottom, right) in enumerate(_MARKS, start=1):
        top = height - 2 * size - 1 if bottom else size + 1
        for place in range(count):
            start = 1 + size + 2 * size * place
            left = width - start - size if right else start
            lit[top : top + size, left : left + size] = True
