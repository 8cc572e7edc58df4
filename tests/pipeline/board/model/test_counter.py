"""What counters read, against counters that are stepped one count at a time."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import islice

import pytest

from ladderlight.board import MODES, Raster
from ladderlight.board.model.counter import Counter

X = Raster(mode=MODES["640x480@60"], clock=Fraction(25_175_000)).x
"""640 visible, sync from 656 to 751, 800 in all."""


def stepped(start: int, clear_after: int, load: int, bits: int = 10) -> Iterator[int]:
    """Step a synchronous counter of some bits from the first visible count on; after one count it loads another."""
    value = start
    while True:
        yield value
        value = load if value == clear_after else (value + 1) % 2**bits


@pytest.mark.parametrize(
    ("start", "reset", "clear_after", "wired", "bits"),
    [
        pytest.param(0, None, 799, 0, 10, id="reset where the picture begins"),
        pytest.param(144, None, 943, 0, 10, id="preset"),
        pytest.param(144, 0, 799, 0, 10, id="reset where sync begins"),
        pytest.param(160, 0, 799, 0, 10, id="reset where the front porch begins"),
        pytest.param(368, 224, 1023, 0, 10, id="preset where sync begins, so that it is reset as it wraps"),
        pytest.param(140, 1020, 795, 0, 10, id="wraps before the picture"),
        pytest.param(1020, None, 795, 0, 10, id="wraps in the picture"),
        pytest.param(1020, None, 1819, 11, 11, id="wider, does not wrap"),
    ],
)
def test_it_reads_what_a_counter_that_is_stepped_does(
    start: int, reset: int | None, clear_after: int, wired: int, bits: int
) -> None:
    counter = Counter(start=start, reset=reset, counts=X, wired=wired)
    assert counter.bits == bits
    load = start if reset is None else reset
    two_lines = list(islice(stepped(start, clear_after, load, bits), 1600))
    assert counter.read(range(1600)).tolist() == two_lines
    assert counter.read(range(-800, 0)).tolist() == two_lines[:800]
    assert (counter.last, counter.reset_to) == (clear_after, load)
    assert counter.sync_start == two_lines[656]
    assert counter.sync_end == two_lines[752]
    assert counter.blanking_start == two_lines[640]
    assert counter.blanking_end == two_lines[800] == start


def test_delayed_sync_and_blanking_are_as_many_counts_later() -> None:
    counter = Counter(start=144, reset=0, counts=X, delay=4)
    assert (counter.start, counter.last, counter.reset_to) == (144, 799, 0)
    assert (counter.blanking_start, counter.sync_start, counter.sync_end, counter.blanking_end) == (788, 4, 100, 148)
