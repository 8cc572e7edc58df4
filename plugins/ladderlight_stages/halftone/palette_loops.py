"""Any set of colours in tables, and the search for the nearest of them, for guns that depend on each other."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Codes, Singles
from ladderlight_stages.compiled import compiled

UNITS = 1 << 16
"""Full light in whole units."""
BIN_BITS = 6
"""A bin of light is 2**6 units wide."""
CELL_BITS = (5, 6, 5)
"""There are 32, 64 and 32 cells along the guns: green counts for most, and all fit a processor's second cache."""
CELL_FIRST = (1, 0, 2)
"""The lowest bit of each gun's cell in the number of a cell. The others follow in steps of three, so that cells of
similar colours are neighbours in memory, and those of a picture mostly fit a processor's first cache."""
LIST = 65535
"""In a cell: search the cell's list."""


class PaletteTables(NamedTuple):
    """A board's colours for the loops, see ``palette_tables``."""

    transform: Singles
    """float32 (3, 3), from linear light to the space in which the nearest colour is searched."""
    start: Singles
    """float32 (3,): the light at ``bottom``."""
    bottom: NDArray[np.int32]
    """int32 (3,): the lower limit of a pixel with its errors, in units, so that colours out of reach do not bleed.
    There is room below and above, so that errors never lead beyond the bins."""
    top: NDArray[np.int32]
    """int32 (3,): the upper limit."""
    bins: Codes
    """uint16 (3, bins): by gun, the addend of a bin of light to the number of its cell."""
    colours: NDArray[np.int32]
    """int32 (colours, 4): in units, the fourth column unused."""
    codes: Codes
    """uint16 (colours,)."""
    cells: Codes
    """uint16 (cells,): the colour to take, or ``LIST``."""
    lists: NDArray[np.int32]
    """int32: for each cell where its colours begin and end in this same array; then the colours."""


@compiled
def search(v0: np.int32, v1: np.int32, v2: np.int32, tables: PaletteTables, cell: np.uintp) -> np.uintp:
    """Return the nearest of a cell's colours, the lowest of several."""
    transform, colours, lists = tables.transform, tables.colours, tables.lists
    best, least = np.uintp(0), np.float32(np.inf)
    for m in range(lists[cell + cell], lists[cell + cell + np.uintp(1)]):
        colour = np.uintp(lists[m])
        d0 = np.float32(v0 - colours[colour, 0])
        d1 = np.float32(v1 - colours[colour, 1])
        d2 = np.float32(v2 - colours[colour, 2])
        gap = np.float32(0)
        for axis in range(3):
            along = transform[axis, 0] * d0 + transform[axis, 1] * d1 + transform[axis, 2] * d2
            gap += along * along
        if gap < least:
            least, best = gap, colour
    return best
