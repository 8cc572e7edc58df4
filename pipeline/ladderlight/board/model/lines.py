"""Names of lines: counter bits, memory outputs, constants, ranges of them, inverters and exclusive-or gates."""

import re
from dataclasses import dataclass
from enum import Enum

from ladderlight.errors import nearest

CONSTANTS = {"low": 0, "high": 1}
TIMING = {
    "hsync": "line sync",
    "vsync": "frame sync",
    "blank": "blanking",
    "x_reset": "the x counter's reset",
    "y_reset": "the y counter's reset",
}
"""The timing lines that data pins can drive, and what each does. ``!`` before one inverts it."""
_NAME = r"[A-Za-z_][A-Za-z0-9_]*"
_TERM = re.compile(rf"(?P<invert>!?)(?P<first>{_NAME}(?:\.d\d+)?)(?:-(?P<last>{_NAME}(?:\.d\d+)?))?")
_NUMBERED = re.compile(r"(?P<stem>.*?)(?P<index>\d+)$")
_COUNTER = re.compile(r"(x|y|bank)(\d+)$")
_OUTPUT = re.compile(rf"({_NAME})\.d(\d+)$")


class Signal(Enum):
    """What kind of signal a line is."""

    X = "x"
    Y = "y"
    BANK = "bank"
    CONSTANT = "constant"
    OUTPUT = "output"
    NAMED = "named"


@dataclass(frozen=True)
class Line:
    """One line. ``index`` is the bit of a counter or the data pin of a memory, or a constant's value."""

    name: str
    signal: Signal
    index: int = 0
    memory: str = ""

    def __str__(self) -> str:
        return self.name


@dataclass(frozen=True)
class Expression:
    """What drives one pin: the exclusive-or of one or more lines, inverted or not."""

    lines: tuple[Line, ...]
    inverted: bool = False

    def __str__(self) -> str:
        return ("!" if self.inverted else "") + "^".join(map(str, self.lines))


class LineSyntaxError(ValueError):
    """A text is not a line, a range or a gate."""


def line(name: str) -> Line:
    """Classify one name without range or gate."""
    if name in CONSTANTS:
        return Line(name, Signal.CONSTANT, CONSTANTS[name])
    if match := _COUNTER.fullmatch(name):
        return Line(name, Signal(match[1]), int(match[2]))
    if match := _OUTPUT.fullmatch(name):
        return Line(name, Signal.OUTPUT, int(match[2]), match[1])
    return Line(name, Signal.NAMED)


def numbered(name: str) -> tuple[str, int] | None:
    """Return a name's stem and number, ``("map.d", 7)``; None for a name without a number."""
    match = _NUMBERED.fullmatch(name)
    return (match["stem"], int(match["index"])) if match else None


def expand(text: str) -> list[Expression]:
    """Expand one entry of an address list: ``"x2"``, ``"x2-x9"``, ``"!y8"``, ``"x2^map.d7"``, ``"x0-x2^map.d7"``.

    A range counts up or down. In a gate, ranges run in parallel and must be equally long; single lines go to every pin.
    Raises LineSyntaxError with what is expected.
    """
    terms = []
    for part in text.split("^"):
        match = _TERM.fullmatch(part.strip())
        if match is None:
            what = f"{text!r} is not a line; write x3, x2-x9, !y8, x2^map.d7, map.d0-map.d7, low or high"
            raise LineSyntaxError(what)
        names = _range(match["first"], match["last"], text)
        terms.append(([line(name) for name in names], bool(match["invert"])))
    lengths = {len(lines) for lines, _ in terms if len(lines) > 1}
    if len(lengths) > 1:
        raise LineSyntaxError(f"{text!r} joins ranges of different lengths; make them equally long")
    pins = lengths.pop() if lengths else 1
    inverted = sum(invert for _, invert in terms) % 2 == 1
    return [
        Expression(tuple(lines[pin] if len(lines) > 1 else lines[0] for lines, _ in terms), inverted)
        for pin in range(pins)
    ]


def expand_names(text: str) -> list[str]:
    """Expand one entry of a data list: a name, a range, ``"!hsync"``, or ``"-"`` for a pin that drives nothing.

    Timing lines alone can be inverted: what they carry is computed, and so is its opposite. Raises LineSyntaxError
    with what is expected.
    """
    if text == "-" or timing_line(text):
        return [text]
    match = _TERM.fullmatch(text)
    if match is None or match["invert"] or "." in text:
        near = nearest(text[1:].lower(), TIMING) if text.startswith("!") else None
        action = f"did you mean '!{near}'?" if near else "write r0, r0-r3, or - for a pin that drives nothing"
        raise LineSyntaxError(f"{text!r} is not a name; {action}")
    return _range(match["first"], match["last"], text)


def timing_line(name: str) -> str:
    """Return the timing line that a data pin's name stands for, inverted or not; empty for another line."""
    plain = name.removeprefix("!")
    return plain if plain in TIMING else ""


def _range(first: str, last: str | None, text: str) -> list[str]:
    if last is None:
        return [first]
    low, high = numbered(first), numbered(last)
    if low is None or high is None or low[0] != high[0]:
        raise LineSyntaxError(f"{text!r} is not a range; both ends need the same name and a number, such as x2-x9")
    (stem, start), (_, stop) = low, high
    if abs(stop - start) > 63:
        raise LineSyntaxError(f"{text!r} is a range of {abs(stop - start) + 1} lines; 64 is the most")
    step = 1 if stop >= start else -1
    return [f"{stem}{index}" for index in range(start, stop + step, step)]
