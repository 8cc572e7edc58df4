"""One scan line to scale: visible part, porches and sync."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from ladderlight.board.model.counter import Counter
from ladderlight.board.model.raster import Raster
from ladderlight.proof.plots.drawing import (
    INK,
    PAPER,
    QUIET,
    RULE,
    TEAL,
    WASH,
    WIDTH,
    drawing,
    line,
    rectangle,
    text,
    trace,
)

_HEIGHT = 172.0
_PICTURE, _DEPTH = 30.0, 40.0
_SYNC_HIGH, _SYNC_LOW = 88.0, 104.0
_SCALE = 122.0

Place = Callable[[int], float]


@dataclass(frozen=True, kw_only=True)
class _Part:
    name: str
    start: int
    end: int

    @property
    def counts(self) -> int:
        return self.end - self.start


def scan_line_plot(raster: Raster, counter: Counter) -> str:
    """Plot one line as the board counts it, from the first visible pixel to the next: picture above, sync below."""
    x = raster.x
    parts = [
        _Part(name="visible", start=0, end=x.visible),
        _Part(name="front porch", start=x.visible, end=x.sync_start),
        _Part(name="sync", start=x.sync_start, end=x.sync_end),
        _Part(name="back porch", start=x.sync_end, end=x.total),
    ]
    seconds = float(1 / raster.clock)
    label = "One scan line: " + ", ".join(f"{part.name} {_time(part.counts, seconds)}" for part in parts)
    return drawing(_HEIGHT, label, list(_drawn(raster, counter, parts, seconds)))


def _drawn(raster: Raster, counter: Counter, parts: list[_Part], seconds: float) -> Iterator[str]:
    total = raster.x.total
    scale = (WIDTH - 2) / total

    def place(count: int) -> float:
        return 1 + count * scale

    visible, _, sync, _ = parts
    for part in parts:
        width = part.counts * scale
        fill = TEAL if part is visible else WASH
        title = f"{part.name}: {part.counts:,} counts, {_time(part.counts, seconds)}"
        yield rectangle(place(part.start), _PICTURE, width, _DEPTH, fill=fill, stroke=RULE, title=title)
    words = f"visible: {visible.counts:,} counts, {_time(visible.counts, seconds)}"
    yield text(place(0) + visible.counts * scale / 2, _PICTURE + 25, words, anchor="middle", size=13, fill=PAPER)
    line_time = f"one line: {total:,} counts, {_time(total, seconds)}, {float(raster.line_rate) / 1e3:.3f} kHz"
    yield text(1, 16, line_time, size=13, bold=True)
    rest, active = (_SYNC_LOW, _SYNC_HIGH) if raster.mode.horizontal.positive else (_SYNC_HIGH, _SYNC_LOW)
    yield trace(
        [
            (place(0), rest),
            (place(sync.start), rest),
            (place(sync.start), active),
            (place(sync.end), active),
            (place(sync.end), rest),
            (place(total), rest),
        ],
        width=2,
    )
    polarity = "positive" if raster.mode.horizontal.positive else "negative"
    yield text(
        1,
        _SYNC_LOW - 2 if not raster.mode.horizontal.positive else _SYNC_HIGH + 6,
        f"sync, {polarity}",
        size=11,
        fill=QUIET,
    )
    for count in sorted({edge for part in parts for edge in (part.start, part.end)}):
        yield line(place(count), _PICTURE, place(count), _SCALE, stroke=QUIET, width=0.75, dash="2 3")
    yield from _blanking(counter, parts[1:], place, seconds)


def _blanking(counter: Counter, parts: list[_Part], place: Place, seconds: float) -> Iterator[str]:
    """Name the narrow parts below, each on a line of its own, with a line up to it."""
    for row, part in enumerate(parts):
        x = place(part.start) + (place(part.end) - place(part.start)) / 2
        y = _SCALE + 12 + row * 17
        yield line(x, _SYNC_LOW + 8, x, y - 4, stroke=INK, width=0.75)
        yield line(x - 8, y - 4, x, y - 4, stroke=INK, width=0.75)
        first, last = (counter.at(count + counter.delay) for count in (part.start, part.end - 1))
        span = f"counts {first:,} to {last:,}, {part.counts:,} of them" if part.counts else "no counts"
        words = f"{part.name}: {span}, {_time(part.counts, seconds)}"
        yield text(x - 12, y, words, anchor="end", size=11)


def _time(counts: int, seconds: float) -> str:
    return f"{counts * seconds * 1e6:.3f} µs"
