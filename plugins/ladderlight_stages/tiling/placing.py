"""Pictures in any graph of memories: from the ladders backwards, each memory's words and the outputs it needs.

A memory that counters address gets its words at once. One that others address gets tiles, and the choice of tiles
becomes the outputs needed of those others. Colour look-up is the same with tiles of one pixel.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ladderlight import Board, CodedPicture, Contents, MemoryContents, TileSet
from ladderlight.board import Memory, Palette, Placement
from ladderlight.board.scanning.levels import Pin
from ladderlight.board.scanning.scan import is_direct, scan
from ladderlight.units.arrays import Codes, Ints
from ladderlight_stages.banks import assign_banks, conflict_errors, placed, placed_words, refuse_misfits, selected
from ladderlight_stages.perception.lab_loops import ciede2000, lab_from
from ladderlight_stages.perception.luminance import SHARES_FROM_LINEAR
from ladderlight_stages.tiling.tile_wiring import counter_words, joint_drives
from ladderlight_stages.tiling.tiling import Choice, Needed, Tiling, finest_sources, tile_cells
from ladderlight_stages.tiling.word_sheets import Sheets


@dataclass(kw_only=True)
class _Graph:
    """Pictures on their way backwards through a board's memories."""

    board: Board
    pictures: Sequence[CodedPicture]
    banks: Sequence[int]
    choice: Choice
    codes: Codes = field(init=False)
    words: Ints = field(init=False)
    """Counter words, int64 (pictures, height, width)."""
    needed: dict[str, Needed] = field(init=False)
    sheets: Sheets = field(init=False)
    tilings: list[Tiling] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        board = self.board
        self.codes = np.stack([picture.codes for picture in self.pictures])
        self.words = counter_words(
            board.x_grid.samples[None, None, :],
            board.y_grid.samples[None, :, None],
            board.bank_levels(self.banks)[:, None, None],
        )
        self.needed = {
            memory.name: Needed(values=np.zeros(self.words.shape, dtype=np.uint32)) for memory in board.memories
        }
        self.sheets = Sheets(board=board)
        for bit, line in enumerate(board.code_lines):
            output = board.outputs[line]
            self.need((output.memory, output.index), self.codes >> bit & 1)

    def need(self, output: Pin, levels: NDArray[np.integer]) -> None:
        name, pin = output
        needed = self.needed[name]
        needed.values |= levels.astype(np.uint32) << np.uint32(pin)
        needed.mask |= 1 << pin

    def level(self, output: Pin) -> Ints:
        return self.needed[output[0]].values.astype(np.int64) >> output[1] & 1

    def work(self) -> dict[str, MemoryContents]:
        """Return the words of all memories, worked out first for those that others address."""
        placement = Placement(board=self.board)
        done: set[str] = set()
        for memory in reversed(self.board.order):
            if memory.name in done or not self.needed[memory.name].mask:
                continue
            if is_direct(self.board, memory):
                self._place(placement, memory)
                done.add(memory.name)
            else:
                together = self._addressed_alike(memory, done)
                self._tile(together)
                done.update(other.name for other in together)
        tiled = self.sheets.contents()
        direct = placed_words(placement)
        return {
            memory.name: (direct if is_direct(self.board, memory) else tiled)[memory.name]
            for memory in self.board.memories
        }

    def _place(self, placement: Placement, memory: Memory) -> None:
        needed = self.needed[memory.name]
        for picture, bank, values in zip(self.pictures, self.banks, needed.values, strict=True):
            with conflict_errors(self.board):
                placement.put_values(memory, values, needed.mask, bank=bank, picture=picture.origin.name)

    def _addressed_alike(self, memory: Memory, done: set[str]) -> list[Memory]:
        """Return the memories, this one first, that share outputs of others in their addresses and are ready too."""
        waiting = {name for user, sources in self.board.sources.items() if user not in done for name in sources}
        left = [other for other in self.board.memories if other.name not in done | waiting | {memory.name}]
        ready = [other for other in left if self.needed[other.name].mask]
        together, shared = [memory], self._outputs([memory])
        for _ in ready:  # each round may bring what another one shares
            for other in ready:
                if other not in together and shared & self._outputs([other]):
                    together.append(other)
                    shared |= self._outputs([other])
        return together

    def _outputs(self, memories: Sequence[Memory]) -> set[Pin]:
        return {output for drive in joint_drives(self.board, memories) for output in drive.outputs}

    def _tile(self, memories: list[Memory]) -> None:
        """Find the tiles of memories, write them there, and need their numbers of the memories that address them."""
        places = {memory.name: place for place, memory in enumerate(self.board.memories)}
        outputs = sorted(self._outputs(memories), key=lambda output: (places[output[0]], output[1]))
        open_outputs = [(name, pin) for name, pin in outputs if not self.needed[name].mask >> pin & 1]
        keys, free = finest_sources(self.board, open_outputs, self.words)
        held = [output for output in open_outputs if output not in free]
        for output in held:
            self.need(output, np.zeros((), dtype=np.uint32))
        if held:
            lines = ", ".join(f"{name}.d{pin}" for name, pin in held)
            self.notes.append(f"{lines} cannot be chosen for each tile; held at 0")
        fixed = {output: self.level(output) for output in outputs if output not in free}
        tiling = tile_cells(
            self.board,
            memories,
            needed=self.needed,
            codes=self.codes,
            words=self.words,
            keys=keys,
            free=free,
            fixed=fixed,
            choice=self.choice,
            names=[(picture.origin.name, bank) for picture, bank in zip(self.pictures, self.banks, strict=True)],
        )
        tiling.write(self.board, self.sheets)
        for bit, output in enumerate(free):
            self.need(output, tiling.map_words >> bit & 1)
        self.tilings.append(tiling)
        self.notes.append(tiling.note())


def place_each(pictures: Sequence[CodedPicture], board: Board, choice: Choice, *, match: str, share: bool) -> Contents:
    """Place the pictures that match, each in a bank of its own or, with ``share``, in one with those that are the same.

    Raises ArrangementError as :func:`place` does, and when no picture matches or there are too few banks.
    """
    chosen = selected(pictures, match)
    refuse_misfits(chosen, board)
    return place(chosen, assign_banks(chosen, board, share=share), board, choice)


def place(pictures: Sequence[CodedPicture], banks: Sequence[int], board: Board, choice: Choice) -> Contents:
    """Place pictures in their banks, in whatever memories the board has.

    A picture may be in several banks. Of several pictures in one bank the first counts. Raises ArrangementError when
    something does not fit.
    """
    pairs = list(zip(pictures, banks, strict=True))
    firsts = {bank: picture for picture, bank in reversed(pairs)}
    if not firsts:
        return Contents(memories=Sheets(board=board).contents())
    order = sorted(firsts)
    graph = _Graph(board=board, pictures=[firsts[bank] for bank in order], banks=order, choice=choice)
    memories = graph.work()
    tile_sets: list[TileSet] = [tile_set for tiling in graph.tilings for tile_set in tiling.tile_sets(board)]
    notes = list(graph.notes)
    if any(tiling.merged for tiling in graph.tilings):
        notes.append(_loss_of(graph.pictures, graph.banks, board, memories))
    return Contents(memories=memories, pictures=placed(pairs), tile_sets=tuple(tile_sets), notes=tuple(notes))


def _loss_of(
    pictures: Sequence[CodedPicture], banks: Sequence[int], board: Board, memories: Mapping[str, MemoryContents]
) -> str:
    """Scan every picture out of the words, and return how much it differs from its codes, in one line."""
    words = {name: memory.words for name, memory in memories.items()}
    x, y = board.x_grid.samples[None, :], board.y_grid.samples[:, None]
    wrong, means = [], []
    for picture, bank in zip(pictures, banks, strict=True):
        shown = scan(board, words, x, y, bank).codes
        wrong.append(float(np.mean(shown != picture.codes)))
        means.append(_mean_difference(shown, picture.codes, board.palette))
    worst = int(np.argmax(means))
    return (
        f"{100 * np.mean(wrong):.2f} % of the pixels differ from the pictures; mean colour difference "
        f"{np.mean(means):.3f} (CIEDE2000), most in {pictures[worst].origin.name!r}: {means[worst]:.3f}"
    )


def _mean_difference(shown: NDArray[np.integer], wanted: NDArray[np.integer], palette: Palette) -> float:
    pairs, counts = np.unique(
        shown.ravel().astype(np.int64) << 16 | wanted.ravel().astype(np.int64), return_counts=True
    )
    lab = lab_from(palette.linear[None].astype(np.float64), SHARES_FROM_LINEAR)[0]
    differences = ciede2000(lab[pairs >> 16][None], lab[pairs & 0xFFFF][None])[0]
    return float((differences * counts).sum() / counts.sum())
