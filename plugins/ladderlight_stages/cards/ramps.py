"""The levels of each gun."""

import numpy as np

from ladderlight import Board, CodedPicture, stage
from ladderlight.board.model.palette import light_of
from ladderlight.colour.spaces import oklab_from_linear
from ladderlight.units.arrays import Codes, Ints
from ladderlight_stages.drawing import distinct_codes, grid

_SAME = 1e-9
_ALIKE = 0.02
"""Difference in drive up to which levels are one, where guns share lines: a shared driver's output resistance makes a
gun's level depend on the others'."""
_CHROMA = 4  # weight of a difference in chroma against one in lightness


@stage(help="The levels of red, green, blue and grey, from dark to bright: shows wrong or missing resistors.")
def ramps(board: Board) -> CodedPicture:
    """Draw a row for each gun and one for grey, each with its levels from dark to bright.

    Rows are red, green, blue and grey from the top. A gun's level comes with as little of the other guns as the wiring
    allows. Grey has as many steps as the gun with the most levels, each in the colour nearest to it. Guns that always
    show the same, as on a board of greys, have one row together.
    """
    codes = distinct_codes(board)
    rows = [_levels(board, codes, gun) for gun in range(3)]
    rows.append(_greys(board, codes, max(map(len, rows))))
    shown = dict.fromkeys(tuple(row.tolist()) for row in rows if len(row) > 1)
    heights = np.arange(len(shown), dtype=np.uint16)[:, None]
    areas = grid(board, heights)
    picture: Codes = np.zeros_like(areas)
    for index, row in enumerate(shown):
        picture = np.where(areas == index, grid(board, np.array([row], dtype=np.uint16)), picture)
    return CodedPicture.of_card(picture)


def _levels(board: Board, codes: Ints, gun: int) -> Ints:
    """Return a code for each level of a gun, ascending: the one with the least drive of the other guns."""
    drive = board.palette.drive[codes]
    least = _SAME if board.palette.lattice else _ALIKE
    found: list[int] = []
    for place in np.lexsort((codes, drive[:, gun], drive.sum(axis=1) - drive[:, gun])):
        if np.all(np.abs(drive[found, gun] - drive[place, gun]) > least):
            found.append(int(place))
    return np.asarray(codes[sorted(found, key=lambda place: float(drive[place, gun]))])


def _greys(board: Board, codes: Ints, steps: int) -> Ints:
    """Return the codes nearest to equal steps of drive from black to white, a difference in chroma counting most."""
    drive = np.linspace(0, 1, steps)[:, None].repeat(3, axis=1)
    weights = np.array([1, _CHROMA, _CHROMA])
    wanted = oklab_from_linear(light_of(drive, board.ladder)) * weights
    looks = oklab_from_linear(board.palette.linear[codes]) * weights
    nearest = [int(np.argmin(np.sum((looks - grey) ** 2, axis=1))) for grey in wanted]
    return codes[list(dict.fromkeys(nearest))]
