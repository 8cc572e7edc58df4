"""A fault of a chip, its socket or its programming."""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import log
from typing import Literal

from ladderlight.bench.faults.lines import LineKind
from ladderlight.units.arrays import Ints, Words

Places = Ints
WordsAt = Callable[[Places], Words]
Kind = (
    LineKind
    | Literal[
        "earlier_burn",
        "other_device",
        "other_recipe",
        "blank",
        "all_zero",
        "unfinished",
        "hole",
        "burned_over",
        "badly_erased",
        "weakly_programmed",
        "part_size",
        "data_reversed",
        "byte_order",
        "bank_order",
        "piece_order",
        "shifted",
        "two_faults",
    ]
)
AGAINST = log(100.0)
"""How much one word that a fault does not explain speaks against it: a hundred to one."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Fault:
    """One fault that may have happened: its ``kind``, the ``lines`` concerned, and the same in words.

    ``words`` gives what it leads to at some addresses, int64 of any shape. ``against`` is how little it is to be
    expected, in words left unexplained.
    """

    kind: Kind
    text: str
    words: WordsAt = field(repr=False)
    lines: tuple[str, ...] = ()
    against: float = 0.0


def fixed(kind: Kind, text: str, words: Words, *, against: float = 0.0) -> Fault:
    """Return a fault that leads to these words, or contents that are these words."""
    return Fault(kind=kind, text=text, words=lambda at: words[at], against=against)
