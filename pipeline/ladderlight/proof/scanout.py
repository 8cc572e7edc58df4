"""What the monitor shows, computed from the device files as they are on disk."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field, replace
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board, srgb_from_linear
from ladderlight.board.scanning.playback import count_codes
from ladderlight.board.scanning.scan import scan, scan_by_bank
from ladderlight.devices.files import images_of, join_files
from ladderlight.errors import DeviceFileError
from ladderlight.flow.pictures import DeviceFile, TileSet
from ladderlight.proof.tilesheet import places_of, tiles_shown
from ladderlight.system.frozen import Frozen
from ladderlight.system.paths import path_trouble
from ladderlight.units.arrays import Codes, Ints, MemoryWords


class Scanned(Frozen, eq=False):
    """The words of a board's memories as read back from the device files, and what banks show of them: scanned once.

    ``images`` are each device's bytes, low byte of each word first. ``codes`` are those of each bank's picture, shape
    (height, width). ``places`` is for each tile set how many places of the map show each tile, shape (tiles,).
    """

    board: Board
    words: MemoryWords
    banks: Sequence[int]
    tile_sets: Sequence[TileSet] = ()
    images: Mapping[str, bytes] = field(init=False)
    codes: Mapping[int, Codes] = field(init=False)
    places: Sequence[Ints] = field(init=False)

    def __post_init__(self) -> None:
        """Scan the banks, one after another: threads would wait for each other longer than they scan."""
        scanned = scan_by_bank(self.board, self.words, *_pixels(self.board))

        def shown(bank: int) -> tuple[Codes, list[Ints]]:
            read = scanned(bank)
            return read.codes.astype(np.uint16), [tiles_shown(self.board, read, tiles) for tiles in self.tile_sets]

        found = {bank: shown(bank) for bank in self.banks}
        tiles = zip(*(tiles for _, tiles in found.values()), strict=True)
        object.__setattr__(self, "images", images_of(self.board, self.words))
        object.__setattr__(self, "codes", {bank: codes for bank, (codes, _) in found.items()})
        object.__setattr__(self, "places", list(map(places_of, self.tile_sets, tiles)))

    @cached_property
    def contents(self) -> dict[int, int]:
        """The number of each bank's picture among the different ones: equal pictures share the first one's."""
        found: dict[bytes, int] = {}
        return {bank: found.setdefault(codes.tobytes(), len(found)) for bank, codes in self.codes.items()}

    @cached_property
    def distinct(self) -> list[int]:
        """The first bank of each different picture, by its number."""
        firsts = {content: bank for bank, content in reversed(self.contents.items())}
        return [firsts[content] for content in sorted(firsts)]

    def screen(self, bank: int) -> Codes:
        """Return the code of every count and line that the monitor shows of a bank, as :func:`screen_codes`."""
        if _is_registered(self.board):
            return screen_codes(self.board, self.words, bank)
        return _on_screen(self.board, self.codes[bank])


def read_memories(board: Board, folder: Path, files: Iterable[DeviceFile]) -> dict[str, NDArray[np.uint32]]:
    """Read the device files from disk and put the memories' words together.

    What ``files`` carry as data is not looked at: only what stands in ``folder`` under their names. Raises
    DeviceFileError when a file is missing or damaged, two of a device disagree, or its files do not cover one.
    """
    found = []
    for file in files:
        if file.span is None:
            continue
        path = folder / file.name
        with path_trouble(DeviceFileError, path, "cannot be read", "build again"):
            found.append(replace(file, data=path.read_bytes()))
    return memories_of(board, found)


def memories_of(board: Board, files: Iterable[DeviceFile]) -> dict[str, NDArray[np.uint32]]:
    """Put the memories' words together from device files: uint32, shape (words of the memory,).

    Raises DeviceFileError as :func:`read_memories`.
    """
    files, memories = list(files), {}
    for memory in board.memories:
        parts = [join_files([file for file in files if file.device == one.name], one) for one in memory.devices]
        memories[memory.name] = parts[0] if len(parts) == 1 else np.concatenate(parts)
    return memories


def picture_codes(board: Board, words: MemoryWords, bank: int = 0) -> Ints:
    """Return the codes of one bank by picture pixel: int64, shape (height, width) of the board's picture."""
    return scan(board, words, *_pixels(board), bank).codes


def _pixels(board: Board) -> tuple[Ints, Ints]:
    return board.x_grid.samples[None, :], board.y_grid.samples[:, None]


def screen_codes(board: Board, words: MemoryWords, bank: int = 0) -> Codes:
    """Return the code of every count and line that the monitor shows, registers taken into account.

    uint16, shape (visible lines, visible counts).
    """
    if _is_registered(board):
        return count_codes(board, words, bank).astype(np.uint16)
    return _on_screen(board, picture_codes(board, words, bank).astype(np.uint16))


def _is_registered(board: Board) -> bool:
    """Whether the monitor shows other moments than those at which the counters address the picture."""
    return bool(board.counters.blanking_delay) or any(memory.output != "direct" for memory in board.memories)


def _on_screen(board: Board, codes: Codes) -> Codes:
    return codes.take(board.x_grid.cells, axis=1)[board.y_grid.cells]  # of fewer lines first


def render(board: Board, words: MemoryWords, bank: int = 0) -> NDArray[np.uint8]:
    """Show one bank as :func:`colours_of` shows its codes."""
    return colours_of(board, screen_codes(board, words, bank))


def colours_of(board: Board, codes: Codes) -> NDArray[np.uint8]:
    """Show the codes of :func:`screen_codes` as the monitor does: uint8 (active lines, active monitor pixels, 3), sRGB.

    Where a monitor pixel covers more than one count, or parts of two, their light is averaged. Past the last visible
    count it is dark.
    """
    active, visible = board.raster.mode.horizontal.active, board.raster.x.visible
    if board.raster.dots_per_count:
        return board.palette.srgb8[codes.repeat(board.raster.dots_per_count, axis=1)]
    ratio = float(board.raster.ratio)
    edges = np.minimum(np.arange(active + 1) * ratio, visible)
    whole = np.minimum(np.floor(edges).astype(np.int64), visible - 1)
    shown = np.empty((len(codes), active, 3), dtype=np.uint8)
    for line, row in enumerate(codes):
        light = board.palette.linear[row]
        before = np.concatenate([np.zeros((1, 3)), np.cumsum(light, axis=0)])
        until = before[whole] + light[whole] * (edges - whole)[:, None]
        mean = np.diff(until, axis=0) / ratio
        shown[line] = np.rint(srgb_from_linear(np.clip(mean, 0, 1)) * 255).astype(np.uint8)
    return shown
