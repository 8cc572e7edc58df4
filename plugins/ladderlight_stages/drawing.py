"""Drawing test cards in a board's codes: shapes, and which codes stand for which colours."""

import numpy as np

from ladderlight import Board, Frozen
from ladderlight.board.model.lines import Expression, Signal
from ladderlight.board.scanning.lookup import lookup_of
from ladderlight.board.scanning.scan import is_direct
from ladderlight.colour.spaces import oklab_from_linear
from ladderlight.units.arrays import Codes, Floats, Ints

_MOST_BARS = 16  # side by side; more go into further rows


class Cells(Frozen, eq=False):
    """The cells of a board's tile map; where no memory addresses another one, each pixel is a cell.

    ``columns`` and ``rows`` int64: the cell of each pixel column and of each pixel row. ``width`` and ``height`` are
    the size of a cell in pixels, ``tiles`` the number of tiles that the map can name, ``mirrors`` whether it can turn
    them left to right and upside down.
    """

    columns: Ints
    rows: Ints
    width: int
    height: int
    tiles: int
    mirrors: tuple[bool, bool]

    @property
    def tiled(self) -> bool:
        """Whether a cell is more than a pixel."""
        return self.width * self.height > 1


def cells_of(board: Board) -> Cells:
    """Return the cells of a board, by the lowest counter bits that address the memories that address others."""
    feeding = {name for names in board.sources.values() for name in names}
    maps = [memory for memory in board.memories if memory.name in feeding and is_direct(board, memory)]
    names = {memory.name for memory in maps}
    pins = [pin for memory in board.memories if names & set(board.sources[memory.name]) for pin in memory.address]
    columns, width = _along(board, Signal.X, [board.lowest_bit(memory, Signal.X) for memory in maps])
    rows, height = _along(board, Signal.Y, [board.lowest_bit(memory, Signal.Y) for memory in maps])
    named = {pin for pin in pins if not _has(board, pin, Signal.X, Signal.Y) and _has(board, pin, Signal.OUTPUT)}
    return Cells(
        columns=columns,
        rows=rows,
        width=width,
        height=height,
        tiles=1 << len(named),
        mirrors=(_mirrors(board, pins, Signal.X), _mirrors(board, pins, Signal.Y)),
    )


def bars(board: Board, codes: Ints) -> Codes:
    """Return a picture of bars in these codes from left to right, in rows of up to 16 from the top: uint16.

    An area at the end of the last row that has no code is black.
    """
    rows = -(-len(codes) // _MOST_BARS)
    across = -(-len(codes) // rows)
    filled = np.full(rows * across, board.palette.black_code, dtype=np.uint16)
    filled[: len(codes)] = codes
    return grid(board, filled.reshape(rows, across))


def grid(board: Board, codes: Codes) -> Codes:
    """Return a picture divided into areas of these codes, uint16 (rows, columns), of about the same size.

    Areas begin where cells do, if there are enough of these.
    """
    cells = cells_of(board)
    down, across = (_parts(along, count) for along, count in zip((cells.rows, cells.columns), codes.shape, strict=True))
    return np.asarray(codes[np.ix_(down, across)])


def _parts(cells: Ints, count: int) -> Ints:
    """Return for each pixel along one direction in which of so many parts it lies."""
    whole = cells if cells[-1] + 1 >= count else np.arange(len(cells))
    return np.asarray((2 * whole + 1) * count // (2 * (whole[-1] + 1)))


def _along(board: Board, signal: Signal, lowest: list[int | None]) -> tuple[Ints, int]:
    grid_of, shift = (board.x_grid, board.x_shift) if signal is Signal.X else (board.y_grid, board.y_shift)
    bit = min((bit for bit in lowest if bit is not None), default=shift)
    changes = np.diff(grid_of.samples >> bit) != 0
    return np.concatenate([[0], np.cumsum(changes)]), 1 << max(0, bit - shift)


def _has(board: Board, pin: Expression, *signals: Signal) -> bool:
    return any(board.resolve(line).signal in signals for line in pin.lines)


def _mirrors(board: Board, pins: list[Expression], signal: Signal) -> bool:
    """Whether a map's output turns every counter bit of one direction in the addresses of tiles."""
    counted = [pin for pin in pins if _has(board, pin, signal)]
    return bool(counted) and all(_has(board, pin, Signal.OUTPUT) for pin in counted)


def distinct_codes(board: Board) -> Ints:
    """Return one code, the lowest, for each colour that the board shows, ascending: int64."""
    _, first = np.unique(board.palette.drive, axis=0, return_index=True)
    return np.sort(first).astype(np.int64)


def fair_codes(board: Board, most: int) -> Ints:
    """Return up to ``most`` codes that lie as far apart as possible in OKLab, int64, in the order of their choice.

    Black is first, then white, then always the colour farthest from those before it (Gonzalez's farthest-point rule,
    1985), so that a shorter choice is the beginning of a longer one. A board with colour look-up gives no more colours
    than its look-up memories hold.
    """
    codes = distinct_codes(board)
    looks = oklab_from_linear(board.palette.linear[codes])
    lookup = lookup_of(board)
    count = min(most, len(codes), lookup.size if lookup else most)
    chosen = [int(np.argmin(looks[:, 0]))]
    nearest = np.full(len(codes), np.inf)
    while len(chosen) < count:
        nearest = np.minimum(nearest, np.sum((looks - looks[chosen[-1]]) ** 2, axis=1))
        chosen.append(int(np.argmax(looks[:, 0])) if len(chosen) == 1 else int(np.argmax(nearest)))
    return codes[chosen]


def codes_of_shares(board: Board, shares: Floats) -> Codes:
    """Return codes for shares of drive that are spread evenly from 0 to 1, so that all codes become about as frequent.

    The colours are halved along the gun in which they differ most, and the halves again (a k-d tree), with the shares
    of that gun in proportion. Where guns are independent, each gun's levels follow its own share. Shares are of shape
    (height, width, 3).
    """
    lookup = lookup_of(board)
    codes = fair_codes(board, lookup.size) if lookup else distinct_codes(board)
    drive = board.palette.drive[codes]
    found = np.zeros(shares[..., 0].size, dtype=np.uint16)
    left = [(np.arange(len(codes)), np.arange(found.size), shares.reshape(-1, 3).copy())]
    while left:
        members, pixels, share = left.pop()
        if len(members) == 1 or not len(pixels):
            found[pixels] = codes[members[0]]
            continue
        gun = int(np.argmax(np.ptp(drive[members], axis=0)))
        members = members[np.argsort(drive[members, gun], kind="stable")]
        steps = np.flatnonzero(np.diff(drive[members, gun])) + 1
        at = int(steps[np.argmin(np.abs(steps - len(members) / 2))])
        part = at / len(members)
        low = share[:, gun] < part
        below, above = share[low], share[~low]
        below[:, gun] /= part
        above[:, gun] = (above[:, gun] - part) / (1 - part)
        left += [(members[:at], pixels[low], below), (members[at:], pixels[~low], above)]
    return found.reshape(shares.shape[:2])
