"""The parts to buy for a board."""

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from ladderlight.bench.connector import SOCKET, tolerance_of
from ladderlight.bench.logic import Logic
from ladderlight.bench.wiring import Wiring
from ladderlight.board import Board
from ladderlight.board.advice.timing import OSCILLATORS
from ladderlight.board.scanning.timing import longest_access
from ladderlight.units.words import frequency, in_words, joined, nanoseconds

RATINGS = (0.125, 0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0)
"""Ratings of resistors in watts that are sold, from 1/8 W on (common practice)."""
_DIVISIONS = {2: 1, 4: 2, 8: 3}  # flip-flops that divide an oscillator
_BITS = 4  # bits of a counter package


@dataclass(frozen=True)
class PartToBuy:
    """A line of the list: how many, what, and the value or number to ask for."""

    quantity: int
    what: str
    value: str


def parts_of(board: Board, wiring: Wiring) -> tuple[PartToBuy, ...]:
    """Return the parts to buy: chips, logic, resistors, sockets, connector, oscillator.

    Counters are counted in packages of four bits; gates that decode counts are the builder's choice and not counted.
    """
    sold = next((by for by in (1, *_DIVISIONS) if board.raster.clock * by in OSCILLATORS), None)
    division = sold or 1
    chips = [*_memories(board), *_logic(board, wiring, division)]
    oscillator = "oscillator" + (f", divided by {division} for the x counter's clock" if division > 1 else "")
    oscillator += "" if sold else ", not a common frequency"
    return (
        *chips,
        *_resistors(board, wiring),
        *_sockets(wiring),
        PartToBuy(1, f"connector {SOCKET}, 15-pin, socket, high density", "DE-15"),
        PartToBuy(1, oscillator, frequency(board.raster.clock * division)),
        PartToBuy(
            sum(part.quantity for part in chips), "ceramic capacitor, from VCC to GND beside each chip", "100 nF"
        ),
    )


def rating_above(watts: float) -> float:
    """Return the smallest rating in watts above a dissipation."""
    return next((rating for rating in RATINGS if rating > watts), RATINGS[-1])


def _memories(board: Board) -> Iterator[PartToBuy]:
    tally: Counter[tuple[str, str]] = Counter()
    for memory in board.memories:
        limit, access = longest_access(board, memory), memory.access
        if access is None and limit is not None:
            access = memory.part.grade_within(limit)
        speed = "speed not stated" if access is None else f"{nanoseconds(access).replace('.0 ', ' ')} or faster"
        what = f"memory chip, {speed}, {memory.part.package or 'package not stated'}"
        tally[what, memory.part.number] += memory.chips
    return (PartToBuy(quantity, *kind) for kind, quantity in tally.items())


def _logic(board: Board, wiring: Wiring, division: int) -> Iterator[PartToBuy]:
    used: dict[Logic, list[int]] = defaultdict(list)
    for units in wiring.gates.packages.values():
        used[units[0].logic].append(len(units))
    for logic, counts in used.items():
        of = f", {sum(counts)} of {len(counts) * logic.package.units} used" if logic.package.units > 1 else ""
        yield PartToBuy(len(counts), f"{logic.package.holds}{of}", logic.value)
    if division > 1:
        flip_flop = Logic.FLIP_FLOP.package
        quantity = -(-_DIVISIONS[division] // flip_flop.units)
        yield PartToBuy(quantity, f"{flip_flop.holds}, to divide the oscillator by {division}", flip_flop.number)
    bits, counter = (board.x_counter.bits, board.y_counter.bits), Logic.COUNTER.package
    what = f"counter, {counter.holds}; x has {bits[0]} bits, y {bits[1]}"
    yield PartToBuy(sum(-(-count // _BITS) for count in bits), what, counter.number)


def _resistors(board: Board, wiring: Wiring) -> Iterator[PartToBuy]:
    by_value = defaultdict(list)
    for resistor in wiring.resistors:
        by_value[resistor.ohms].append(resistor)
    tolerance = f"{tolerance_of(board.ladder) * 100:g} %"
    for _, alike in sorted(by_value.items()):
        most = max(resistor.watts for resistor in alike)
        labels = joined([resistor.label for resistor in alike])
        what = f"resistor, {tolerance}, {rating_above(most):g} W or more: {labels}, dissipating up to "
        yield PartToBuy(len(alike), what + in_words(most, "W", digits=3), alike[0].value)


def _sockets(wiring: Wiring) -> Iterator[PartToBuy]:
    for package, quantity in Counter(chip.package for chip in wiring.chips).items():
        what = "socket for a memory chip" + ("" if package else ", package not stated")
        yield PartToBuy(quantity, what, package or "socket")
