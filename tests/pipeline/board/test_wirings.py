"""Random boards: placing and then scanning gives every visible place back, or a conflict is named that is really there.

The generator writes each address as text for the board and keeps what it means; a second, slow evaluation of the
wiring, bit by bit and in plain Python, judges what the board says.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from ladderlight.board import (
    MODES,
    Axis,
    Board,
    Channel,
    Conflict,
    Counters,
    Ladder,
    Memory,
    Mode,
    Packing,
    Part,
    Placement,
    Raster,
)
from ladderlight.board.advice.checks import problems_of
from ladderlight.board.model.lines import expand
from ladderlight.board.scanning.scan import scan

GUNS = {"red": (0,), "green": (1,), "blue": (2,)}
CODE_LINES = ("r0", "r1", "g0", "g1", "b0")


@dataclass(frozen=True)
class Pin:
    """What drives one address pin: the exclusive-or of counter bits and an inverter."""

    bits: tuple[tuple[str, int], ...]
    inverted: bool

    @property
    def text(self) -> str:
        return ("!" if self.inverted else "") + "^".join(
            name if name in ("low", "high") else f"{name}{bit}" for name, bit in self.bits
        )

    def level(self, counts: dict[str, int]) -> int:
        level = int(self.inverted)
        for name, bit in self.bits:
            level ^= {"low": 0, "high": 1}[name] if name in ("low", "high") else counts[name] // 2**bit % 2
        return level


@dataclass(frozen=True)
class Wired:
    """A memory as generated: its pins, its packing, and the code line on each data pin (None for none)."""

    name: str
    pins: tuple[Pin, ...]
    data: tuple[str | None, ...]
    packing: Packing
    first_select: int

    def address(self, counts: dict[str, int]) -> int:
        return sum(pin.level(counts) * 2**at for at, pin in enumerate(self.pins))

    def slot(self, counts: dict[str, int]) -> int:
        return counts["x"] // 2**self.first_select % self.packing.pixels


@dataclass(frozen=True)
class Case:
    """A board, how it was generated, and the pictures to place."""

    board: Board
    wired: tuple[Wired, ...]
    codes: tuple[np.ndarray, ...]

    def counts(self, x: int, y: int, bank: int) -> dict[str, int]:
        """Give the counters at the first count of a picture pixel."""
        board = self.board
        return {
            "x": nth_cell(x, board.counters.x_start, board.raster.x.visible, board.x_counter.bits, board.x_shift),
            "y": nth_cell(y, board.counters.y_start, board.raster.y.visible, board.y_counter.bits, board.y_shift),
            "bank": self.bank_switches(bank),
        }

    def bank_switches(self, bank: int) -> int:
        """Set the bank lines that are wired to a number, the lowest line for its lowest bit."""
        bits = sorted({bit for wired in self.wired for pin in wired.pins for name, bit in pin.bits if name == "bank"})
        return sum(2**bit for at, bit in enumerate(bits) if bank // 2**at % 2)


def nth_cell(index: int, start: int, visible: int, bits: int, shift: int) -> int:
    values = [(start + count) % 2**bits for count in range(visible)]
    firsts = [value for at, value in enumerate(values) if at == 0 or value // 2**shift != values[at - 1] // 2**shift]
    return firsts[index]


@st.composite
def rasters(draw: st.DrawFn) -> Raster:
    if draw(st.booleans()):
        mode = MODES[draw(st.sampled_from(["640x480@60", "800x600@60", "640x350@70", "720x400@70"]))]
        ratio = draw(st.sampled_from([Fraction(1, 4), Fraction(1, 8), Fraction(1, 16), Fraction(2, 5)]))
        return Raster(mode=mode, clock=mode.dot_clock * ratio)
    horizontal, vertical = (
        Axis(
            active=draw(st.integers(4, 60)),
            front_porch=draw(st.integers(0, 5)),
            sync=draw(st.integers(1, 5)),
            back_porch=draw(st.integers(0, 5)),
            positive=draw(st.booleans()),
        )
        for _ in range(2)
    )
    mode = Mode(name="own", dot_clock=Fraction(1_000_000), horizontal=horizontal, vertical=vertical)
    return Raster(mode=mode, clock=Fraction(draw(st.sampled_from([1_000_000, 1_001_000, 2_000_000]))))


@st.composite
def memories(draw: st.DrawFn, name: str, data: list[str], x_bits: int, y_bits: int) -> tuple[Memory, Wired]:
    pixels = draw(st.sampled_from([1, 1, 1, 2, 4]))
    select = pixels.bit_length() - 1
    x_low = draw(st.integers(select, max(select, min(x_bits - 1, 4))))
    y_low = draw(st.integers(0, max(0, min(y_bits - 1, 4))))
    bits = [("x", bit) for bit in range(x_low, x_bits)] + [("y", bit) for bit in range(y_low, y_bits)]
    if x_low >= x_bits and pixels > 1:
        pixels, select = 1, 0
    bits += [("bank", bit) for bit in draw(st.sampled_from([(), (0,), (0, 1), (1,), (1, 3), (0, 2)]))]
    for _ in range(draw(st.sampled_from([0, 0, 0, 1, 2]))):  # a forgotten line, often a conflict
        if len(bits) > 1:
            victim = draw(st.sampled_from(bits))
            if victim != ("x", x_low):
                bits.remove(victim)
    pins = []
    for bit in bits:
        others = draw(st.sampled_from([(), (), (), (draw(st.sampled_from(bits)),)]))
        terms = (bit, *(other for other in others if other != bit and other[1] >= bit[1]))
        pins.append(Pin(terms, draw(st.booleans())))
    pins += [Pin(((draw(st.sampled_from(["low", "high"])), 0),), False) for _ in range(draw(st.integers(0, 2)))]
    pins += [Pin((draw(st.sampled_from(bits)),), False) for _ in range(draw(st.integers(0, 1)))]  # one bit twice
    pins = draw(st.permutations(pins))
    packing = Packing(pixels=pixels, order=draw(st.sampled_from(["msb_first", "lsb_first"])))
    width = draw(st.sampled_from([width for width in (8, 16, 32) if width >= len(data) * pixels][:2]))
    gaps = width // pixels - len(data)
    placed = draw(st.permutations([*data, *[None] * draw(st.integers(0, gaps))]))
    address_pins = len(pins) + draw(st.integers(0, 1))
    chip_bits = draw(st.integers(0, min(2, address_pins)))
    memory = Memory(
        name=name,
        part=Part(number="any", words=1 << (address_pins - chip_bits), width=width),
        chips=1 << chip_bits,
        address=tuple(expression for pin in pins for expression in expand(pin.text)),
        data=tuple("-" if line is None else line for line in placed),
        packing=packing,
        fill=draw(st.one_of(st.none(), st.integers(0, (1 << width) - 1))),
    )
    # The pixel select takes the x bits just below the lowest x bit that is wired, wherever that is.
    wired_x = min((bit for pin in pins for signal, bit in pin.bits if signal == "x"), default=0)
    return memory, Wired(name, tuple(pins), tuple(placed), packing, wired_x - select)


@st.composite
def cases(draw: st.DrawFn) -> Case:
    raster = draw(rasters())
    counters = Counters(x_start=draw(st.sampled_from([0, 0, 3, 17, 40])), y_start=draw(st.sampled_from([0, 0, 1, 9])))
    x_bits = (counters.x_start + raster.x.visible - 1).bit_length() or 1
    y_bits = (counters.y_start + raster.y.visible - 1).bit_length() or 1
    lines = list(CODE_LINES)
    cut = draw(st.sampled_from([0, 0, 2, 3]))
    parts = [lines[cut:], lines[:cut]] if cut else [lines]
    made = [draw(memories(f"m{at}", part, x_bits, y_bits)) for at, part in enumerate(parts)]
    ladder = Ladder(
        supply=5.0,
        channels=tuple(
            Channel(
                name=gun,
                resistors={line: 500.0 * 2 ** (1 - int(line[1])) for line in lines if line[0] == gun[0]},
                guns=GUNS[gun],
            )
            for gun in GUNS
        ),
    )
    board = Board(raster=raster, memories=tuple(memory for memory, _ in made), ladder=ladder, counters=counters)
    assert problems_of(board) == []
    seed = draw(st.integers(0, 1 << 16))
    colours = draw(st.sampled_from([32, 32, 2]))
    random = np.random.default_rng(seed)
    size = (board.geometry.height, board.geometry.width)
    codes = tuple(
        random.integers(0, colours, size).astype(np.uint16)
        for _ in range(draw(st.integers(1, min(board.bank_count, 3))))
    )
    if draw(st.booleans()) and len(codes) == 1:  # rows that repeat, so that a missing bit does no harm
        codes = (np.repeat(codes[0][:1], size[0], axis=0),)
    return Case(board, tuple(wired for _, wired in made), codes)


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(cases())
def test_every_visible_place_comes_back_or_a_true_conflict_is_named(case: Case) -> None:
    placement = Placement(board=case.board)
    try:
        for bank, codes in enumerate(case.codes):
            placement.put_codes(codes, bank=bank, picture=f"p{bank}")
    except Conflict as conflict:
        event("conflict")
        assert_true(conflict, case)
    else:
        event("round trip")
        assert_shown(placement, case)


def assert_true(conflict: Conflict, case: Case) -> None:
    """Both places lead to the address that the conflict names, and to the same pixel of its word, with other words."""
    wired = next(wired for wired in case.wired if wired.name == conflict.memory)
    places = (conflict.first, conflict.second)
    counts = [case.counts(place.x, place.y, place.bank) for place in places]
    assert [wired.address(count) for count in counts] == [conflict.address] * 2
    assert wired.slot(counts[0]) == wired.slot(counts[1])
    wanted = []
    for place in places:
        assert place.picture == f"p{place.bank}"
        code = int(case.codes[place.bank][place.y, place.x])
        lines = case.board.code_lines
        wanted.append([code >> lines.index(line) & 1 for line in wired.data if line is not None])
    assert wanted[0] != wanted[1]


def assert_shown(placement: Placement, case: Case) -> None:
    """Every visible count of every picture shows its pixel's code, by the scan and by the slow evaluation."""
    board = case.board
    words = {name: words for name, (words, _) in placement.words().items()}
    random = np.random.default_rng(0)
    for bank, codes in enumerate(case.codes):
        shown = scan(board, words, board.x_grid.counts[None, :], board.y_grid.counts[:, None], bank)
        wanted = codes[board.y_grid.cells[:, None], board.x_grid.cells[None, :]]
        assert np.array_equal(shown.codes, wanted)
        for _ in range(5):
            row, column = int(random.integers(wanted.shape[0])), int(random.integers(wanted.shape[1]))
            counts = {
                "x": (board.counters.x_start + column) % 2**board.x_counter.bits,
                "y": (board.counters.y_start + row) % 2**board.y_counter.bits,
                "bank": case.bank_switches(bank),
            }
            assert slow_code(case, words, counts) == wanted[row, column]


def slow_code(case: Case, words: dict[str, np.ndarray], counts: dict[str, int]) -> int:
    """Follow the wiring bit by bit."""
    code = 0
    for wired in case.wired:
        memory = case.board.memory(wired.name)
        word = int(words[wired.name][wired.address(counts)])
        slot, bits = wired.slot(counts), memory.part.width // wired.packing.pixels
        place = wired.packing.pixels - 1 - slot if wired.packing.order == "msb_first" else slot
        for pin, line in enumerate(wired.data):
            if line is not None:
                code |= (word >> (place * bits + pin) & 1) << case.board.code_lines.index(line)
    return code


def test_the_judge_itself_sees_a_wrong_word(board: Board) -> None:
    """The check above can fail: one flipped bit in a word that is read must not pass."""
    pins = tuple(
        Pin(((line.signal.value, line.index),), False)
        for expression in board.memory("picture").address
        for line in expression.lines
    )
    wired = Wired("picture", pins, ("b0", "b1", "g0", "g1", "r0", "r1"), Packing(), 2)
    case = Case(board, (wired,), (np.zeros((120, 160), dtype=np.uint16),))
    placement = Placement(board=board)
    placement.put_codes(case.codes[0], bank=0, picture="p0")
    assert_shown(placement, case)
    placement.words()["picture"][0][256] ^= 1
    with pytest.raises(AssertionError):
        assert_shown(placement, case)
