"""The parts to buy for a board."""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from ladderlight.bench.connector import SOCKET
from ladderlight.bench.logic import Logic
from ladderlight.bench.readings import tolerance_of
from ladderlight.bench.wiring import Wiring
from ladderlight.board import Board
from ladderlight.board.advice.timing import OSCILLATORS
from ladderlight.board.scanning.timing import longest_access
from ladderlight.units.words import frequency, in_words, joined, nanoseconds

RATINGS = (0.125, 0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0)
"""Ratings of resistors in watts that are sold, from 1/8 W on (common practice)."""
_DIVISIONS = {2: 1, 4: 2, 8: 3}
"""Flip-flops that divide an oscillator."""
_BITS = 4
"""Bits of a counter package."""


@dataclass(frozen=True, kw_only=True)
class PartToBuy:
    """A line of the list: how many, what, and the value or number to ask for."""

    quantity: int
    what: str
    value: str


def parts_of(board: Board, wiring: Wiring) -> tuple[PartToBuy, ...]:
    """Return the parts to buy: chips, logic, resistors, sockets, connector, oscillator.

    Counters are counted in packages of four bits; gates that decode counts are the builder's choice and not counted.
    """
    logic = list(_logic(board, wiring))
    chips = list(_memories(board))
    return (
        *chips,
        *logic,
        *_resistors(board, wiring),
        *_sockets(wiring),
        PartToBuy(quantity=1, what=f"connector {SOCKET}, 15-pin, socket, high density", value="DE-15"),
        _oscillator(board),
        PartToBuy(
            quantity=sum(part.quantity for part in (*chips, *logic)),
            what="ceramic capacitor, from VCC to GND beside each chip",
            value="100 nF",
        ),
    )


def rating_above(watts: float) -> float:
    """Return the smallest rating in watts above a dissipation."""
    return next((rating for rating in RATINGS if rating > watts), RATINGS[-1])


def _memories(board: Board) -> Iterator[PartToBuy]:
    tally: Counter[tuple[str, str]] = Counter()
    for memory in board.memories:
        limit = longest_access(board, memory)
        access = memory.access
        if access is None and limit is not None:
            access = memory.part.grade_within(limit)
        speed = "speed not stated" if access is None else f"{nanoseconds(access).replace('.0 ', ' ')} or faster"
        tally[memory.part.number, f"memory chip, {speed}, {memory.part.package or 'package not stated'}"] += (
            memory.chips
        )
    for (number, what), quantity in tally.items():
        yield PartToBuy(quantity=quantity, what=what, value=number)


def _logic(board: Board, wiring: Wiring) -> Iterator[PartToBuy]:
    used: dict[Logic, list[int]] = defaultdict(list)
    for units in wiring.gates.packages.values():
        used[units[0].logic].append(len(units))
    for logic, counts in used.items():
        of = f", {sum(counts)} of {len(counts) * logic.package.units} used" if logic.package.units > 1 else ""
        yield PartToBuy(quantity=len(counts), what=f"{logic.package.holds}{of}", value=logic.value)
    division = _divider(board)[1]
    if division > 1:
        flip_flop = Logic.FLIP_FLOP.package
        yield PartToBuy(
            quantity=-(-_DIVISIONS[division] // flip_flop.units),
            what=f"{flip_flop.holds}, to divide the oscillator by {division}",
            value=flip_flop.number,
        )
    bits = board.x_counter.bits, board.y_counter.bits
    counter = Logic.COUNTER.package
    yield PartToBuy(
        quantity=sum(-(-count // _BITS) for count in bits),
        what=f"counter, {counter.holds}; x has {bits[0]} bits, y {bits[1]}",
        value=counter.number,
    )


def _resistors(board: Board, wiring: Wiring) -> Iterator[PartToBuy]:
    by_value = defaultdict(list)
    for resistor in wiring.resistors:
        by_value[resistor.ohms].append(resistor)
    tolerance = f"{tolerance_of(board.ladder) * 100:g} %, "
    for ohms in sorted(by_value):
        alike = by_value[ohms]
        most = max(resistor.watts for resistor in alike)
        labels = joined([resistor.label for resistor in alike])
        yield PartToBuy(
            quantity=len(alike),
            what=f"resistor, {tolerance}{rating_above(most):g} W or more: {labels}, "
            f"dissipating up to {in_words(most, 'W', digits=3)}",
            value=alike[0].value,
        )


def _sockets(wiring: Wiring) -> Iterator[PartToBuy]:
    packages = Counter(chip.package for chip in wiring.chips)
    for package, quantity in packages.items():
        what = "socket for a memory chip" + ("" if package else ", package not stated")
        yield PartToBuy(quantity=quantity, what=what, value=package or "socket")


def _divider(board: Board) -> tuple[bool, int]:
    """Return whether an oscillator for the clock is commonly sold, and what it is divided by."""
    for division in (1, *_DIVISIONS):
        if board.raster.clock * division in OSCILLATORS:
            return True, division
    return False, 1


def _oscillator(board: Board) -> PartToBuy:
    sold, division = _divider(board)
    what = "oscillator" + (f", divided by {division} for the x counter's clock" if division > 1 else "")
    return PartToBuy(
        quantity=1,
        what=what if sold else f"{what}, not a common frequency",
        value=frequency(board.raster.clock * division),
    )
