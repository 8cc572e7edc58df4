"""Alternatives that fit: fewer counter bits, other parts, other starts of the picture's bits."""

from collections.abc import Iterable
from dataclasses import replace
from itertools import product

from ladderlight.board.model.board import Board, Geometry
from ladderlight.board.model.lines import Signal
from ladderlight.board.model.memory import PARTS, Memory, Part
from ladderlight.board.scanning.timing import timings
from ladderlight.system.frozen import Frozen
from ladderlight.units.words import counted, joined


class Choice(Frozen):
    """A wiring with some lines left out, and its picture."""

    dropped: tuple[str, ...]
    geometry: Geometry
    banks: int

    def __str__(self) -> str:
        """Return the lines to leave out and the picture, as in ``leave out y2 for 160x60 1:2 pixels``."""
        banks = f" in {counted(self.banks, 'bank')}" * any(name.startswith("bank") for name in self.dropped)
        return f"{joined(list(self.dropped))} for {size_of(self.geometry)}{banks}"


def size_of(geometry: Geometry) -> str:
    """Return a picture's size and proportions in words: ``80x120 pixels twice as wide as high``."""
    return f"{geometry.width}x{geometry.height} {proportions(geometry.pixel_aspect)} pixels"


def proportions(aspect: float) -> str:
    """Return a pixel's proportions in a word: ``square``, ``2:1`` (wide) or ``1:1.2`` (high)."""
    if abs(aspect - 1) <= 0.01:
        return "square"
    return f"{aspect:.3g}:1" if aspect > 1 else f"1:{1 / aspect:.3g}"


def choices(board: Board, memory: Memory) -> list[Choice]:
    """Return the ways to shorten a memory's address to its pins, those with the squarest pixels first.

    Left out are the lowest x bits, the lowest y bits and the highest bank bits, in every mixture. Lines that enter
    gates stay: they would go on changing the address, with no word for it.
    """
    excess = len(memory.address) - memory.address_pins
    gated = {line.name for other in board.memories for e in other.address if len(e.lines) > 1 for line in e.lines}
    wired = sorted(board.address_lines(memory), key=lambda line: line.index)
    x, y, bank = ([line.name for line in wired if line.signal is kind] for kind in (Signal.X, Signal.Y, Signal.BANK))
    found = []
    for low_x, low_y, high in product(range(excess + 1), repeat=3):
        names = [*x[:low_x], *y[:low_y], *bank[::-1][:high]]
        if low_x + low_y + high != excess or len(names) != excess or gated & set(names):
            continue
        shorter = without(board, names)
        if len(shorter.memory(memory.name).address) == memory.address_pins:
            found.append(Choice(dropped=tuple(names), geometry=shorter.geometry, banks=shorter.bank_count))
    return sorted(found, key=lambda choice: (_distortion(choice.geometry), -choice.geometry.width))


def _distortion(geometry: Geometry) -> float:
    return round(max(geometry.pixel_aspect, 1 / geometry.pixel_aspect), 2)


def without(board: Board, names: Iterable[str]) -> Board:
    """Return a board with some lines left out of all addresses; gates that they enter stay."""
    gone, memories = set(names), []
    for memory in board.memories:
        kept = (pin for pin in memory.address if len(pin.lines) > 1 or pin.lines[0].name not in gone)
        memories.append(replace(memory, address=tuple(kept)))
    return replace(board, memories=tuple(memories))


def smallest_part(memory: Memory, pins: int) -> Part | None:
    """Return the smallest part of a memory's width and erasure with so many address and selection pins, or None."""
    return next(iter(_parts_like(memory, pins)), None)


def smaller_part(board: Board, memory: Memory, pins: int) -> tuple[Part, float | None] | None:
    """Return the smallest part below a memory's own that has so many address pins and is sold fast enough.

    Fast enough is what leaves every memory of the board in time, or no later than it is now. With the part comes its
    slowest grade in seconds that is fast enough, None where the memory's access time is not known.
    """
    now = timings(board)
    for part in _parts_like(memory, pins):
        if part.words >= memory.part.words:
            break
        if memory.access is None:
            return part, None
        for grade in reversed(part.grades):
            other = replace(memory, part=part, access=grade)
            swapped = replace(board, memories=tuple(other if m.name == other.name else m for m in board.memories))
            left = {name: then.left for name, then in timings(swapped).items()}
            if all(spare is None or spare >= min(0.0, now[name].left or 0.0) for name, spare in left.items()):
                return part, grade
    return None


def _parts_like(memory: Memory, pins: int) -> list[Part]:
    """Return the parts of a memory's width and erasure that give it so many address pins, the smallest first."""
    alike = (
        part
        for part in PARTS.values()
        if part.width == memory.part.width
        and part.words * memory.chips >> pins
        and memory.part.erasure in ("unknown", part.erasure)
    )
    return sorted(alike, key=lambda part: part.words)


class Start(Frozen):
    """Other lowest bits: ``x`` and ``y`` are how many bits lower (negative) or higher they start than now."""

    x: int
    y: int
    geometry: Geometry


def square_starts(board: Board) -> list[Start]:
    """Return the nearest starts of x or y bits that make pixels as square as bits can make them, finer ones first."""
    aspect = board.geometry.pixel_aspect
    steps = {n: abs(max(aspect * 2.0**n, 2.0**-n / aspect) - 1) for n in range(-4, 5)}
    best = min(steps, key=steps.__getitem__)
    if best == 0:
        return []
    ways = [(x, y) for x, y in ((best, 0), (0, -best)) if board.x_shift + x >= 0 and board.y_shift + y >= 0]
    return [Start(x=x, y=y, geometry=_geometry(board, x, y)) for x, y in sorted(ways, key=sum)]


def _geometry(board: Board, x: int, y: int) -> Geometry:
    def cells(starting: int, visible: int, shift: int) -> int:
        return (starting + visible - 1 >> shift) - (starting >> shift) + 1

    return Geometry(
        width=cells(board.counters.x_start, board.raster.x.visible, board.x_shift + x),
        height=cells(board.counters.y_start, board.raster.y.visible, board.y_shift + y),
        repeat_x=1 << board.x_shift + x,
        repeat_y=1 << board.y_shift + y,
        pixel_aspect=board.geometry.pixel_aspect * 2.0 ** (x - y),
    )
