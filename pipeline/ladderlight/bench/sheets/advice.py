"""The notes of a bench sheet beside its tables: cautions where they belong, and how to read a row."""

from ladderlight.bench.counts import Decoded
from ladderlight.bench.readings import shown_share, tolerance_of
from ladderlight.board import Board
from ladderlight.board.model.lines import timing_line
from ladderlight.units.words import in_words, joined, percent

AT_PARTS = (
    "Not listed, since they are yours to choose: the wiring between the counters, any gates that decode counts, and "
    "any switches or counter for the banks.",
)
AT_WIRING = (
    "Power off. Wire with the sockets empty, then measure VCC and GND at every socket before a chip goes in.",
    "Touch the earthed mat before a chip: static discharge ruins chips. Mind pin 1.",
    "Programming voltage belongs in the programmer: on the board a VPP pin is at VCC.",
)
_AT_COUNTS = (
    "Check both rates with a scope before a tube monitor is connected: line rates that it is not made for can "
    "damage it. Leave a tube monitor closed: it holds lethal voltages even when unplugged.",
    "An AND of the bits given goes high at the count for the first time since the reset. Where it goes high "
    "again, use its first edge alone, such as to set a latch.",
)
_AT_READINGS = (
    "Measure at the connector against a return pin. With monitor: a monitor, or a resistor of its input at each "
    "output.",
    "Burn the word at every address of a spare chip, or leave the memory's socket empty, tie the data pins that are 1 "
    "in the word to VCC through 1 kohm and the others to GND, with the clock running. Power off before each change.",
)


def decoding(counter: str, decoded: Decoded) -> str:
    """Return how a reading is decoded: ``AND of x9 x7 x2, again at 652``."""
    if decoded.bits == ():
        return "the reset itself"
    if decoded.bits is None:
        return "no AND of high bits suffices; compare all bits"
    again = "" if decoded.again is None else f", again at {decoded.again}"
    return f"AND of {' '.join(f'{counter}{bit}' for bit in decoded.bits)}{again}"


def counting(board: Board) -> list[str]:
    """Return how to decode the counts, and which lines need no decoder."""
    driven = [line for line in board.outputs if timing_line(line)]
    memory = f"Memories drive {joined(driven)}: these lines need no gates."
    return [*_AT_COUNTS, memory] if driven else list(_AT_COUNTS)


def measuring(board: Board) -> list[str]:
    """Return how to take the readings, and what they assume."""
    ladder = board.ladder
    stated = "" if ladder.tolerance else ", as the recipe states none"
    limits = f"Limits are for resistors of {tolerance_of(ladder) * 100:g} %{stated}"
    found = [
        *_AT_READINGS,
        f"{limits}, {in_words(ladder.supply, 'V')} and a monitor of {in_words(ladder.load, 'ohm')}; measure the supply "
        "first. Currents are those of the driving outputs with the monitor.",
    ]
    if board.blanking != "none":
        found.append(
            f"Hold blank low while measuring: a meter shows the average, which is {percent(shown_share(board))} of the "
            "figure while the picture is blanked as usual."
        )
    return found


def named(high: tuple[str, ...]) -> str:
    """Return which lines are high in a case of readings: ``r0 high``, ``all lines high``, ``no line high``."""
    return f"{high[0]} high" if len(high) == 1 else "all lines high" if high else "no line high"
