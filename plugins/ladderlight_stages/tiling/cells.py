"""Pictures cut into cells: for each cell of the map, the outputs needed at each position of a tile."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ladderlight import ArrangementError, Board
from ladderlight.board import Memory
from ladderlight.board.scanning.separation import separating_bits
from ladderlight.units.arrays import Codes, Flags, Ints
from ladderlight.units.words import joined
from ladderlight_stages.tiling.tile_wiring import TileWiring

_MOST_BITS = 20
_MOST_PLACES = 1 << 28


@dataclass(frozen=True, kw_only=True, eq=False)
class Cells:
    """The outputs that cells need.

    ``values`` unsigned (cells, positions): the outputs of all the memories together, numbered. ``shown`` bool of
    that shape: which positions are on the screen.
    """

    values: NDArray[np.unsignedinteger]
    shown: Flags
    meanings: Mapping[str, NDArray[np.uint32]]
    """By memory: the word that each number means."""
    masks: Mapping[str, int]
    code_of: Codes
    """The code that is seen where a number is put out."""
    one_pixel: bool
    """Whether each position of a cell is one pixel of one colour."""

    @property
    def count(self) -> int:
        """How many cells there are."""
        return len(self.values)

    def unpack(self, numbers: NDArray[np.unsignedinteger], memory: Memory) -> tuple[NDArray[np.uint32], int]:
        """Return the words of one memory that numbers mean, and the pins that matter."""
        return self.meanings[memory.name][numbers], self.masks[memory.name]

    def codes_of(self, numbers: NDArray[np.unsignedinteger]) -> Codes:
        """Return the codes that numbers show."""
        codes: Codes = self.code_of[numbers]
        return codes


def cut(
    board: Board,
    memories: Sequence[Memory],
    *,
    values: Mapping[str, NDArray[np.uint32]],
    masks: Mapping[str, int],
    codes: Codes,
    cell: Ints,
    position: Ints,
    wiring: TileWiring,
    names: Sequence[tuple[str, int]],
) -> Cells:
    """Cut pictures into cells.

    Raises ArrangementError when two pixels of a cell have one position but need different words.

    Parameters
    ----------
    values, masks
        By memory: the outputs needed, uint32 (pictures, height, width), in the pins of the mask.
    codes
        The pictures' codes, of that shape.
    cell, position
        Of each pixel, of that shape.
    names
        Name and bank of each picture, for messages.
    """
    numbers, meanings, code_of = _numbered(memories, values, masks, codes)
    count = int(cell.max()) + 1
    if count * wiring.positions > _MOST_PLACES:
        raise ArrangementError(
            "the address lines of memory " + joined([repr(memory.name) for memory in memories]) + f" make {count} "
            f"tiles of {wiring.positions} pixels each, most of them off the screen; wire only the lowest x and y lines "
            "to it, and the others to the map"
        )
    out = np.zeros((count, wiring.positions), dtype=numbers.dtype)
    shown = np.zeros(out.shape, dtype=bool)
    flat = (cell * wiring.positions + position).ravel()
    out.ravel()[flat] = numbers.ravel()
    shown.ravel()[flat] = True
    wrong = np.flatnonzero(out.ravel()[flat] != numbers.ravel())
    if wrong.size:
        here = int(wrong[0])
        there = int(np.flatnonzero((flat == flat[here]) & (numbers.ravel() == out.ravel()[flat[here]]))[0])
        raise ArrangementError(_collision(board, memories, here, there, codes.shape, names))
    seen = np.zeros(out.shape, dtype=np.uint16)
    seen.ravel()[flat] = codes.ravel()
    one_pixel = bool(np.array_equal(seen.ravel()[flat], codes.ravel()))
    return Cells(values=out, shown=shown, meanings=meanings, masks=masks, code_of=code_of, one_pixel=one_pixel)


def _numbered(
    memories: Sequence[Memory], values: Mapping[str, NDArray[np.uint32]], masks: Mapping[str, int], codes: Codes
) -> tuple[NDArray[np.unsignedinteger], dict[str, NDArray[np.uint32]], Codes]:
    """Return a number for the outputs of all memories at a pixel, the words that each number means, and its code.

    A number depends on these outputs alone, so that tiles keep their content, and with it their place, from build
    to build.
    """
    pins = [(memory.name, pin) for memory in memories for pin in range(32) if masks[memory.name] >> pin & 1]
    if len(pins) > _MOST_BITS:
        raise ArrangementError(
            "memories " + joined([repr(memory.name) for memory in memories]) + f" that one map addresses use "
            f"{len(pins)} data pins together; {_MOST_BITS} is the most"
        )
    numbers = np.zeros(codes.shape, dtype=np.uint32)
    every = np.arange(1 << len(pins), dtype=np.uint32)
    meanings = {memory.name: np.zeros(every.shape, dtype=np.uint32) for memory in memories}
    for bit, (name, pin) in enumerate(pins):
        numbers |= (values[name] >> np.uint32(pin) & np.uint32(1)) << np.uint32(bit)
        meanings[name] |= (every >> np.uint32(bit) & np.uint32(1)) << np.uint32(pin)
    code_of = np.zeros(every.shape, dtype=np.uint16)
    code_of[numbers.ravel()] = codes.ravel()
    smallest = np.min_scalar_type((1 << len(pins)) - 1)
    return numbers.astype(smallest), meanings, code_of


def _collision(
    board: Board,
    memories: Sequence[Memory],
    here: int,
    there: int,
    shape: tuple[int, ...],
    names: Sequence[tuple[str, int]],
) -> str:
    places, counts = [], []
    for at in sorted((here, there)):
        picture, line, pixel = (int(index) for index in np.unravel_index(at, shape))
        name, bank = names[picture]
        places.append(f"{name!r} at pixel ({pixel}, {line}) of bank {bank}")
        counts.append((int(board.x_grid.samples[pixel]), int(board.y_grid.samples[line]), bank))
    label = joined([repr(memory.name) for memory in memories])
    lines = separating_bits(board, counts[0], counts[1])
    return (
        f"memory {label}: {places[0]} and {places[1]} are read from one address with any map, and need different "
        f"words there; add {joined(lines, 'or')} to its address or to that of the map"
    )
