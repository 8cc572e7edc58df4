"""What the screen shows under each fault, by the scan of the board with the fault in its wiring."""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from math import ceil

import numpy as np

from ladderlight.bench.faults.listing import WiringFault
from ladderlight.bench.faults.wiring import Faulty
from ladderlight.board import Board
from ladderlight.board.model.lines import timing_line
from ladderlight.board.scanning.playback import count_codes
from ladderlight.board.scanning.scan import scan
from ladderlight.board.scanning.timing_lines import timing_addresses, timing_pins
from ladderlight.engine.cards import contents_of_card
from ladderlight.errors import ArrangementError, UsageError, nearest_word
from ladderlight.proof.scanout import picture_codes
from ladderlight.recipe import Recipe
from ladderlight.recipe.cards import recipe_of_cards
from ladderlight.recipe.language.model import CardUse
from ladderlight.stages.kinds import Kind
from ladderlight.stages.registry import installed_stages
from ladderlight.storage.stopping import side_by_side
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Floats, Ints, MemoryWords, Singles, Words

MOST_ROWS, MOST_COLUMNS = 128, 160
"""The largest small picture."""


class Look(Frozen, eq=False):
    """One look of the screen, and the ``faults`` that all lead to it.

    ``light`` is the screen in linear light, float32, shape (rows, columns, 3), reduced to a small picture. It is dark
    where the look is not ``steady``: sync or a counter's reset is wrong then, and no picture can be foretold.
    """

    faults: tuple[WiringFault, ...]
    light: Singles
    steady: bool = True


def looks_of(board: Board, words: MemoryWords, bank: int, faults: Sequence[WiringFault]) -> list[Look]:
    """Return what the screen shows without a fault, first, and every other look with the faults that lead to it.

    Faults that cannot be seen are those of the first look; the others are in the order of their first faults. Those
    that leave no steady picture have one look, the last.
    """
    cells = shown_cells(board)
    timing = TimingLines(board=board, words=words, bank=bank)

    def scanned(fault: WiringFault | None) -> tuple[bytes, Singles] | None:
        faulty, held = fault.change(board, words) if fault else (board, words)
        if fault and not timing.steady((faulty, held)):
            return None
        codes = shown_codes(faulty, held, bank).astype(np.uint16)[:, cells]
        colours = faulty.palette.srgb8.astype(np.uint32) @ np.array([1, 1 << 8, 1 << 16], dtype=np.uint32)
        return hashlib.sha256(colours[codes].tobytes()).digest(), reduce(faulty.palette.linear[codes])

    widths = np.diff([*cells, board.raster.x.visible])
    reduce = _reduction(np.bincount(board.y_grid.cells), widths)
    alike: dict[bytes, tuple[Singles, list[WiringFault]]] = {}
    unsteady: list[WiringFault] = []
    for fault, seen in zip([None, *faults], side_by_side(scanned, [None, *faults]), strict=True):
        members = alike.setdefault(seen[0], (seen[1], []))[1] if seen else unsteady
        if fault:
            members.append(fault)
    looks = [Look(faults=tuple(members), light=light) for light, members in alike.values()]
    return looks + [Look(faults=tuple(unsteady), light=0 * looks[0].light, steady=False)] * bool(unsteady)


def shown_codes(board: Board, words: MemoryWords, bank: int) -> Ints:
    """Return the codes that the monitor shows, on the last line of each picture row: int64, shape (rows, counts)."""
    blanked = "blank" in map(timing_line, board.outputs)
    if not (blanked or board.counters.blanking_delay) and all(memory.output == "direct" for memory in board.memories):
        return picture_codes(board, words, bank).take(board.x_grid.cells, axis=1)
    cells = board.y_grid.cells
    return count_codes(board, words, bank, lines=np.flatnonzero(np.append(np.diff(cells) > 0, [True])))


def shown_cells(board: Board) -> Ints:
    """Return the counts from which on the monitor shows another picture pixel, whatever the fault: int64, ascending.

    Registers delay the picture by whole pixels.
    """
    x, _ = board.readings(np.arange(board.raster.x.visible) + board.counters.blanking_delay, 0)
    return np.flatnonzero(np.append([True], np.diff(x >> board.x_shift) != 0))


def _reduction(heights: Ints, widths: Ints) -> Callable[[Floats], Singles]:
    """Return what averages the light of cells, shape (rows, columns, 3), over the equal cells of a small picture."""
    down = _shares(heights, _parts(len(heights), MOST_ROWS))
    across = _shares(widths, _parts(ceil(widths.sum() / widths.max()), MOST_COLUMNS))

    def reduce(light: Floats) -> Singles:
        small = light.astype(np.float32)
        if down is not None:
            small = np.tensordot(down, small, axes=(1, 0))
        return small if across is None else np.tensordot(across, small, axes=(1, 1)).transpose(1, 0, 2)

    return reduce


def _parts(size: int, most: int) -> int:
    return ceil(size / ceil(size / most))


def _shares(sizes: Ints, parts: int) -> Singles | None:
    """Return how much of each of some equal parts each stretch covers, float32 (parts, stretches); None where all."""
    ends = np.concatenate([[0], np.cumsum(sizes)])
    if len(sizes) == parts and (sizes == sizes[0]).all():
        return None
    edges = np.linspace(0, ends[-1], parts + 1)
    inside = np.minimum(edges[1:, None], ends[None, 1:]) - np.maximum(edges[:-1, None], ends[None, :-1])
    return np.asarray(np.maximum(inside, 0) / np.diff(edges)[:, None], dtype=np.float32)


class TimingLines(Frozen, eq=False):
    """The timing lines of a board whose memories hold ``words``, in one bank, over all counts of a frame."""

    board: Board
    words: MemoryWords
    bank: int

    def steady(self, faulty: Faulty) -> bool:
        """Whether sync and resets stay as they are under a fault; blanking alone leaves the picture in its place."""
        board, held = faulty
        return not any(self._changed(board, held, name, mask) for name, mask in self._masks.items())

    def _changed(self, board: Board, held: MemoryWords, name: str, mask: np.uint32) -> bool:
        if board.memory(name).address == self.board.memory(name).address:
            used = self._used[name]
            return bool(((held[name][used] ^ self.words[name][used]) & mask).any())
        return bool(((self._read(board, held, name) ^ self._plain[name]) & mask).any())

    def _read(self, board: Board, held: MemoryWords, name: str) -> Words:
        """Return the words at all counts: shape (lines, counts)."""
        x, y = np.arange(board.raster.x.total), np.arange(board.raster.y.total)
        across, _ = board.readings(x, 0)
        down = board.y_counter.read(y)
        read: Words = held[name][scan(board, held, across[None, :], down[:, None], self.bank).addresses[name]]
        return read

    @cached_property
    def _masks(self) -> Mapping[str, np.uint32]:
        """The pins of sync and resets, by memory."""
        masks = {
            memory.name: sum(1 << pin for pin, line in timing_pins(memory).items() if timing_line(line) != "blank")
            for memory in self.board.memories
        }
        return {name: np.uint32(mask) for name, mask in masks.items() if mask}

    @cached_property
    def _used(self) -> Mapping[str, Ints]:
        return {name: timing_addresses(self.board, self.board.memory(name)) for name in self._masks}

    @cached_property
    def _plain(self) -> Mapping[str, Words]:
        return {name: self._read(self.board, self.words, name) for name in self._masks}


def cards_of(recipe: Recipe) -> list[str]:
    """Return the names of all cards that a recipe can use."""
    registry = installed_stages().with_files(recipe.plugins)
    return [summary.name for summary in registry.summaries() if summary.kind is Kind.CARD]


def words_of_card(recipe: Recipe, name: str, bank: int) -> MemoryWords:
    """Return the words of all memories with a card, its options as they are by default, alone in one bank.

    Raises UsageError when there is no card of this name, ArrangementError when it does not fit the board, and
    RecipeError when no arrangement serves the board.
    """
    registry = installed_stages().with_files(recipe.plugins)
    cards = cards_of(recipe)
    if name not in cards:
        raise UsageError(f"no card is called {name!r}; {nearest_word(name, cards)}")
    card = CardUse(declaration=registry.get(name), options={}, bank=bank)
    try:
        contents = contents_of_card(replace(recipe_of_cards(recipe, registry), cards=(card,)))
    except ArrangementError as error:
        raise ArrangementError(f"card {name!r} cannot be placed: {error}; choose another card") from None
    return {memory: held.words.astype(np.uint32) for memory, held in contents.memories.items()}
