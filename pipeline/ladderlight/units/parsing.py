"""Quantities as a recipe writes them: ``"25.175 MHz"``, ``"120 ns"``, ``"4k7"`` or plain SI numbers."""

import math
import re
from fractions import Fraction

from ladderlight.system.frozen import Frozen


class MisfitError(ValueError):
    """A value of the wrong kind or size. ``what`` follows the name of the value, and ``action`` is the remedy."""

    def __init__(self, what: str, action: str) -> None:
        self.what, self.action = what, action
        super().__init__(f"{what}; {action}")


class Unit(Frozen):
    """A kind of quantity, the names of its unit, and an example."""

    quantity: str
    names: tuple[str, ...]
    example: str
    bare: bool = False
    """Whether a text may leave the unit out."""

    @property
    def action(self) -> str:
        """The remedy for a value that is not of this quantity."""
        return f"write {_article(self.quantity)} such as {self.example}"


UNITS = {
    "Hz": Unit(quantity="frequency", names=("Hz",), example='"25.175 MHz"'),
    "s": Unit(quantity="time", names=("s", "sec"), example='"120 ns"'),
    "V": Unit(quantity="voltage", names=("V",), example='"5 V"'),
    "A": Unit(quantity="current", names=("A",), example='"20 mA"'),
    "W": Unit(quantity="power", names=("W",), example='"125 mW"'),
    "m": Unit(quantity="length", names=("m",), example='"1.5 m"'),
    "B": Unit(quantity="size", names=("B", "byte", "bytes"), example='"128 KiB"'),
    "ohm": Unit(
        quantity="resistance",
        names=("ohm", "ohms", "\u03a9", "\u2126", "R"),  # capital omega, ohm sign
        example='"75 ohm", "4k7" or "470R"',
        bare=True,
    ),
    "%": Unit(quantity="share", names=("%",), example='"5 %" or 0.05'),
}
_ALIASES = {"ohms": "ohm", "\u03a9": "ohm", "\u2126": "ohm", "seconds": "s", "hertz": "Hz", "volt": "V", "volts": "V"}

DATE = "a date or time"
"""Key under which a TOML date travels through JSON, which has no dates."""
_NUMBER = re.compile(
    r"(?P<number>[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d{1,2})?)\s*(?P<suffix>[^\d\s.,][^\d\s]*)?", re.ASCII
)
_LETTER_CODE = re.compile(r"(?P<whole>\d*)(?P<letter>[LRkKMG])(?P<part>\d*)", re.ASCII)
_LARGEST = 10**99
_LONGEST = 60
_PREFIXES = {
    "": Fraction(1),
    **{letter: Fraction(1000) ** power for power, letter in enumerate("kMGTPE", start=1)},
    **{letter: Fraction(1, 1000) ** power for power, letter in enumerate("munpfa", start=1)},
    **{f"{letter}i": Fraction(1024) ** power for power, letter in enumerate("KMGT", start=1)},  # IEC 80000-13
    "K": Fraction(1000),
    "c": Fraction(1, 100),
    "\u00b5": Fraction(1, 10**6),  # micro sign
    "\u03bc": Fraction(1, 10**6),  # the Greek letter
}
_LETTERS = {"L": Fraction(1, 1000), "R": Fraction(1)} | {letter: _PREFIXES[letter] for letter in "kKMG"}


def quantity(value: object, unit: str) -> float:
    """Return a text with a unit, such as ``"120 ns"``, or a plain number, in SI units; a share, ``"5 %"``, as 0.05.

    ``unit`` is a key of ``UNITS``, or any other name, which is then the unit itself. Raises MisfitError when the value
    is not a number, has another unit, or has none.
    """
    return float(exact_quantity(value, unit))


def exact_quantity(value: object, unit: str) -> Fraction:
    """Return a quantity without rounding, as :func:`quantity` reads it: ``"25.175 MHz"`` is 25,175,000."""
    expected = unit_of(unit)
    if isinstance(value, bool) or not isinstance(value, str | int | float | Fraction):
        raise MisfitError(f"is {named(value)}, not {_article(expected.quantity)}", expected.action)
    if not isinstance(value, str):
        if isinstance(value, float) and not math.isfinite(value):
            raise MisfitError(f"is {value}, which is not {_article(expected.quantity)}", expected.action)
        number = Fraction(str(value)) if isinstance(value, float) else Fraction(value)  # 0.7 means seven tenths
        return _within_range(number, expected)
    text = value.strip()
    if len(text) > _LONGEST:
        raise MisfitError("is too long", expected.action)
    if unit == "ohm" and (code := _letter_code(text)) is not None:
        return code
    match = _NUMBER.fullmatch(text)
    if match is None:
        action = "write a decimal point instead of the comma" if "," in text else expected.action
        raise MisfitError(f"is {value!r}, which is not {_article(expected.quantity)}", action)
    suffix = match["suffix"] or ""
    prefix = _prefix_of(suffix, expected.names)
    if prefix is None and suffix in _PREFIXES:
        if not expected.bare:
            raise MisfitError(f"is {value!r}, which has no unit", expected.action)
        prefix = suffix
    if prefix is None:
        raise MisfitError(f"is {value!r}, which is not {_article(expected.quantity)}", expected.action)
    if unit == "Hz" and prefix == "m":
        raise MisfitError(f"is {value!r}, and m is milli", "write MHz with a capital M")
    number = Fraction(match["number"]) * _PREFIXES[prefix]
    return _within_range(number / 100 if unit == "%" else number, expected)


def unit_of(name: str) -> Unit:
    """Return the unit of a name; one that is not in the table is described by its name alone."""
    name = _ALIASES.get(name, name)
    return UNITS.get(name) or Unit(quantity=f"quantity in {name}", names=(name,), example=f'"1 {name}"')


def named(value: object) -> str:
    """Return a value as a recipe writes it; tables, lists and dates by their kind."""
    if isinstance(value, dict) and set(value) == {DATE}:
        return DATE
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    return repr(value)


def _within_range(number: Fraction, expected: Unit) -> Fraction:
    if abs(number) > _LARGEST:
        raise MisfitError("is too large", expected.action)
    return number


def _letter_code(text: str) -> Fraction | None:
    """Return a resistance in the letter code of IEC 60062, whose letter is the decimal point; None for other texts."""
    bare = re.sub(r"\s*(ohms?|\u03a9|\u2126)$", "", text, flags=re.IGNORECASE)
    match = _LETTER_CODE.fullmatch(bare)
    if match is None or not (match["whole"] or match["part"]):
        return None
    return Fraction(f"{match['whole'] or 0}.{match['part'] or 0}") * _LETTERS[match["letter"]]


def _prefix_of(suffix: str, names: tuple[str, ...]) -> str | None:
    """Return the ``"M"`` of ``"MHz"`` for a unit of one of these names; None for another unit, or none."""
    for name in sorted(names, key=len, reverse=True):
        prefix, unit = suffix[: -len(name)], suffix[-len(name) :]
        if unit.lower() == name.lower() and prefix in _PREFIXES:
            return prefix
    return None


def _article(noun: str) -> str:
    return ("an " if noun[0] in "aeiou" else "a ") + noun
