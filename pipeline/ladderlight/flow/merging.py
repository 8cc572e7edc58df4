"""Contents of several arrangement stages joined into one."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ladderlight.board import Board, Memory
from ladderlight.board.scanning.blanking import fill_blanking
from ladderlight.board.scanning.scan import addresses, is_direct
from ladderlight.board.scanning.sheets import Sheet, blank_sheet
from ladderlight.board.scanning.timing_lines import timing_pins, timing_words
from ladderlight.errors import ArrangementError
from ladderlight.flow.pictures import Contents, MemoryContents
from ladderlight.units.arrays import Words, dtype_of

_AT_ONCE = 1 << 16  # words that are joined at a time, so that no more than the result takes memory


def merge(contents: Sequence[Contents], board: Board, *, stages: Sequence[str] = ()) -> Contents:
    """Join the contents of several arrangement stages.

    Bits that more than one of them writes must be the same in all. Memories that none writes hold their fill. Messages
    name the ``stages``, or their numbers. Raises ArrangementError when two contents have different bits at one address,
    or one of them is not of a memory's size.
    """
    names = [repr(name) for name in stages] or [f"number {number}" for number in range(1, len(contents) + 1)]
    memories = {}
    for memory in board.memories:
        parts = {at: part.memories[memory.name] for at, part in enumerate(contents) if memory.name in part.memories}
        for index, new in parts.items():
            _refuse_misfit(memory, new, names[index])
        if len(parts) == 1 and _is_merged(memory, only := next(iter(parts.values()))):
            memories[memory.name] = only
            continue
        sheet = blank_sheet(memory)
        for index, new in parts.items():
            for start in range(0, memory.words, _AT_ONCE):
                at = slice(start, start + _AT_ONCE)
                if not new.written[at].any():
                    continue
                clash = np.flatnonzero(sheet.write(at, new.words[at], new.written[at]))
                if clash.size:
                    raise ArrangementError(_clash(board, memory, start + int(clash[0]), contents[: index + 1], names))
        memories[memory.name] = MemoryContents(words=sheet.words, written=sheet.written)
    return Contents(
        memories=memories,
        pictures=tuple(placed for part in contents for placed in part.pictures),
        tile_sets=tuple(tile_set for part in contents for tile_set in part.tile_sets),
        notes=tuple(note for part in contents for note in part.notes),
    )


def _is_merged(memory: Memory, new: MemoryContents) -> bool:
    """Whether contents of a stage are as merged ones: of their type, with the fill wherever nothing is written."""
    words, written, fill = new.words, new.written, memory.fill_word
    if not words.dtype == written.dtype == dtype_of(memory.part.width):
        return False
    parts = (slice(start, start + _AT_ONCE) for start in range(0, memory.words, _AT_ONCE))
    return not any(((words[at] ^ words.dtype.type(fill)) & ~written[at]).any() for at in parts)


def darken(contents: Contents, board: Board) -> Contents:
    """Fill the words that only blanking reads with black, in the banks that hold pictures.

    Where the board darkens itself during blanking, the contents stay as they are.
    """
    given = {name: (memory.words, memory.written) for name, memory in contents.memories.items()}
    banks = sorted({placed.bank for placed in contents.pictures})
    filled = fill_blanking(board, given, banks)
    if filled is given:
        return contents
    memories = {name: MemoryContents(words=words, written=written) for name, (words, written) in filled.items()}
    return replace(contents, memories=memories)


def carry_timing(contents: Contents, board: Board) -> Contents:
    """Write the levels of the timing lines that data pins drive.

    Raises ArrangementError when an arrangement has written other levels there.
    """
    memories, everywhere = dict(contents.memories), slice(None)
    for memory in board.memories:
        if not timing_pins(memory):
            continue
        words, needed = timing_words(board, memory)
        given = memories[memory.name]
        sheet = Sheet(words=given.words.copy(), written=given.written.copy())
        clash = sheet.write(everywhere, words, needed)
        if clash.any():
            at = int(np.flatnonzero(clash)[0])
            bits = int(clash[at])
            pin = (bits & -bits).bit_length() - 1
            raise ArrangementError(
                f"memory {memory.name!r}, address {at:04X}h: an arrangement stage has written D{pin}, which carries "
                f"timing line {memory.data[pin]!r}, otherwise; leave this memory to the board"
            )
        memories[memory.name] = MemoryContents(words=sheet.words, written=sheet.written)
    return replace(contents, memories=memories)


def _refuse_misfit(memory: Memory, new: MemoryContents, stage: str) -> None:
    for what, array in (("words", new.words), ("written", new.written)):
        if array.shape != (memory.words,):
            raise ArrangementError(
                f"arrangement stage {stage} returned {what} of shape {array.shape} for memory {memory.name!r}; "
                f"return one for each of its {memory.words} words"
            )
        if array.size and int(array.max()) >> memory.part.width:
            raise ArrangementError(
                f"arrangement stage {stage} returned {what} for memory {memory.name!r} that are wider than its "
                f"{memory.part.width} bits; clear the upper bits"
            )


def _clash(board: Board, memory: Memory, address: int, contents: Sequence[Contents], names: Sequence[str]) -> str:
    """Return the message that names the two stages, and where they are known the pictures, that clash at an address."""
    new = contents[-1].memories[memory.name]
    at = np.s_[address : address + 1]

    def differs(part: Contents) -> Words:
        other = part.memories[memory.name]
        return np.asarray((other.words[at] ^ new.words[at]) & other.written[at] & new.written[at])

    first = next(
        index for index, part in enumerate(contents[:-1]) if memory.name in part.memories and differs(part).any()
    )
    return (
        f"memory {memory.name!r}, address {address:04X}h: arrangement stage {names[first]}"
        f"{_reader(board, memory, address, contents[first])} and {names[len(contents) - 1]}"
        f"{_reader(board, memory, address, contents[-1])} need different words there; "
        "give them different banks or addresses"
    )


def _reader(board: Board, memory: Memory, address: int, part: Contents) -> str:
    """Return which picture is scanned out from an address; empty for a memory that another one addresses."""
    x, y = board.x_grid.samples[None, :], board.y_grid.samples[:, None]
    for placed in part.pictures if is_direct(board, memory) else ():
        if np.any(addresses(board, memory, x, y, placed.bank)[0] == address):
            return f" (picture {placed.origin.name!r} in bank {placed.bank})"
    return ""
