"""Words for messages: quantities, shares and lists."""

from collections.abc import Sequence
from fractions import Fraction
from math import floor

_PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n"), (1e-12, "p"))


def in_words(value: float | Fraction, unit: str, *, digits: int = 5) -> str:
    """Return a quantity with an SI prefix and at most ``digits`` significant digits: ``in_words(25175000, "Hz")``."""
    number = float(value)
    if number == 0:
        return f"0 {unit}"
    factor, prefix = next(((f, p) for f, p in _PREFIXES if abs(number) >= f * 0.99999), _PREFIXES[-1])
    return f"{number / factor:.{digits}g} {prefix}{unit}"


def frequency(hertz: float | Fraction) -> str:
    """Return a frequency to seven digits, enough to tell oscillators apart."""
    return in_words(hertz, "Hz", digits=7)


def nanoseconds(seconds: float) -> str:
    """Return a time in nanoseconds, to a tenth, as datasheets do."""
    return f"{seconds * 1e9:.1f} ns"


def percent(share: float) -> str:
    """Return a share in whole per cent, rounded down: ``percent(0.755)`` is ``75 %``."""
    return f"{floor(round(share * 100, 6))} %"


def counted(number: int, noun: str) -> str:
    """Return a number of things: ``1 byte``, ``131,072 bytes``."""
    return f"{number:,} {noun}{'s' * (number != 1)}"


def address(at: int, count: int) -> str:
    """Return an address among ``count`` in hexadecimal, each as wide as the last: ``address(11, 1 << 17)``, 0000Bh."""
    return f"{at:0{address_digits(count)}X}h"


def address_digits(count: int) -> int:
    """Return the hexadecimal digits of each of ``count`` addresses: those that the last needs, at least four."""
    return max(4, len(f"{count - 1:X}"))


def joined(words: Sequence[str], last: str = "and") -> str:
    """Return words joined as in a sentence: ``a, b and c``."""
    return f" {last} ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)
