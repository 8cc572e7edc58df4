"""Quantities as a recipe writes them: ``"25.175 MHz"``, ``"120 ns"``, ``"4k7"`` or plain SI numbers."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction


class MisfitError(ValueError):
    """A value that does not fit what is asked for.

    ``what`` goes on after the name of the value: ``is '25 ns', which is no frequency``. ``action`` says what to do.
    """

    def __init__(self, what: str, action: str) -> None:
        """Keep both parts."""
        self.what, self.action = what, action
        super().__init__(f"{what}; {action}")


@dataclass(frozen=True, kw_only=True)
class Unit:
    """What a quantity is, the unit it comes in, and an example of it."""

    quantity: str
    names: tuple[str, ...]
    example: str
    bare: bool = False
    """Whether a text may leave the unit out."""

    @property
    def action(self) -> str:
        """Say what to write instead."""
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
"""The key that a TOML date has on its way through JSON, which has no dates."""
_NUMBER = re.compile(
    r"(?P<number>[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d{1,2})?)\s*(?P<suffix>[^\d\s.,][^\d\s]*)?", re.ASCII
)
_LETTER_CODE = re.compile(r"(?P<whole>\d*)(?P<letter>[LRkKMG])(?P<part>\d*)", re.ASCII)
_LARGEST = 10**99
_LONGEST = 60
_LETTERS = {"L": Fraction(1, 1000), "R": Fraction(1), "k": Fraction(10**3), "K": Fraction(10**3)} | {
    "M": Fraction(10**6),
    "G": Fraction(10**9),
}
_SMALL_PREFIXED_HERTZ = re.compile(r"m[hH][zZ]")


def quantity(value: object, unit: str) -> float:
    """Read a quantity.

    Parameters
    ----------
    value
        A text with a unit, such as ``"120 ns"``, or a plain number in SI units.
    unit
        The unit that is asked for: a key of ``UNITS``. Other units are taken as they are written.

    Returns
    -------
    The value in SI units; a share (``"%"``) as a number, 0.05 for ``"5 %"``.

    Raises
    ------
    MisfitError
        When the value is no number, has another unit, or none.
    """
    return float(exact_quantity(value, unit))


def frequency(value: object) -> Fraction:
    """Read a frequency in hertz, exactly: ``"25.175 MHz"`` is 25,175,000 and not a float near it.

    Raises
    ------
    MisfitError
        When the value is no frequency.
    """
    return exact_quantity(value, "Hz")


def resistance(value: object) -> float:
    """Read a resistance in ohms: ``"1k5"``, ``"470R"``, ``"R47"`` (IEC 60062), ``"820"``, ``"3.3 kohm"`` or 820.

    Raises
    ------
    MisfitError
        When the value is no resistance.
    """
    return float(exact_quantity(value, "ohm"))


def exact_quantity(value: object, unit: str) -> Fraction:
    """Read a quantity without rounding; see :func:`quantity`."""
    asked = unit_of(unit)
    if isinstance(value, bool) or not isinstance(value, str | int | float | Fraction):
        raise MisfitError(f"is {named(value)} where a {asked.quantity} is meant", asked.action)
    if not isinstance(value, str):
        if isinstance(value, float) and not math.isfinite(value):
            raise MisfitError(f"is {value}, which is no {asked.quantity}", asked.action)
        number = Fraction(str(value)) if isinstance(value, float) else Fraction(value)  # 0.7 means seven tenths
        return _of_bearable_size(number, asked)
    text = value.strip()
    if len(text) > _LONGEST:
        raise MisfitError("is too long", asked.action)
    if unit == "ohm" and (code := _letter_code(text)) is not None:
        return code
    match = _NUMBER.fullmatch(text)
    if match is None:
        action = "write a decimal point instead of the comma" if "," in text else asked.action
        raise MisfitError(f"is {value!r}, which is no {asked.quantity}", action)
    scale, name = _scale_and_unit(match["suffix"] or "", asked)
    if not name:
        if not asked.bare:
            raise MisfitError(f"is {value!r}, which has no unit", asked.action)
    elif name.casefold() not in {known.casefold() for known in asked.names}:
        raise MisfitError(f"is {value!r}, which is no {asked.quantity}", asked.action)
    if unit == "Hz" and _SMALL_PREFIXED_HERTZ.fullmatch(match["suffix"]):
        raise MisfitError(f"is {value!r}, and m is milli", "write MHz with a capital M")
    number = Fraction(match["number"]) * scale
    return _of_bearable_size(number / 100 if unit == "%" else number, asked)


def unit_of(name: str) -> Unit:
    """Describe a unit by its name; one that is not in the table only by that name."""
    name = _ALIASES.get(name, name)
    return UNITS.get(name) or Unit(quantity=f"quantity in {name}", names=(name,), example=f'"1 {name}"')


def named(value: object) -> str:
    """Show a value as a recipe writes it."""
    if isinstance(value, dict) and set(value) == {DATE}:
        return DATE
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    return repr(value)


def _of_bearable_size(number: Fraction, asked: Unit) -> Fraction:
    if abs(number) > _LARGEST:
        raise MisfitError("is too large", asked.action)
    return number


def _letter_code(text: str) -> Fraction | None:
    """Read the letter code of IEC 60062, where the letter stands for the decimal point; None when it is none."""
    bare = re.sub(r"\s*(ohms?|\u03a9|\u2126)$", "", text, flags=re.IGNORECASE)
    match = _LETTER_CODE.fullmatch(bare)
    if match is None or not (match["whole"] or match["part"]):
        return None
    return Fraction(f"{match['whole'] or 0}.{match['part'] or 0}") * _LETTERS[match["letter"]]


def _scale_and_unit(suffix: str, asked: Unit) -> tuple[Fraction, str]:
    """Split ``"MHz"`` into a million and ``"Hz"``."""
    if suffix == "" or suffix in asked.names:
        return Fraction(1), suffix
    from quantiphy import InvalidNumber, Quantity

    try:
        one = Quantity(f"1 {suffix}", binary=True)
    except InvalidNumber:
        return Fraction(1), suffix
    return Fraction(str(one.real)), str(one.units)


def _article(noun: str) -> str:
    return ("an " if noun[0] in "aeiou" else "a ") + noun
