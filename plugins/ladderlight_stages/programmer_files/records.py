"""The parts of an image that go into records."""

from __future__ import annotations

from collections.abc import Iterator


def record_starts(data: bytes, record: int, *, leave_out_fill: bool) -> Iterator[tuple[int, bytes]]:
    """Yield start and bytes of the stretches to write, each a whole number of records except at the end.

    With ``leave_out_fill`` records of nothing but FFh are left out: an erased chip holds that already.
    """
    if not leave_out_fill:
        yield 0, data
        return
    for start in range(0, len(data), record):
        held = data[start : start + record]
        if held.strip(b"\xff"):
            yield start, held
