"""One scan line and one frame to scale: visible part, porches and sync."""

from collections.abc import Iterator
from typing import Literal, NamedTuple

from ladderlight.board.model.board import Board
from ladderlight.proof.plots import drawing as svg

_TOP, _DEPTH = 44.0, 34.0
_SYNC_HIGH, _SYNC_LOW = 102.0, 116.0
_AXIS, _ROWS = 126.0, 180.0
_ROW = 16.0
_COLUMNS = (112.0, 256.0)
_AXES = {"x": ("scan line", "count", "µs", 1e-6), "y": ("frame", "line", "ms", 1e-3)}


class _Part(NamedTuple):
    name: str
    start: int
    end: int
    fill: str


def sync_plot(board: Board, axis: Literal["x", "y"]) -> str:
    """Plot a line in counts (x) or a frame in lines (y), from the first visible one on: picture above, sync below."""
    raster, mode = board.raster, board.raster.mode
    name, noun, unit, size = _AXES[axis]
    if axis == "x":
        counter, seconds, positive = board.x_counter, float(1 / raster.clock), mode.horizontal.positive
        rate = f"{float(raster.line_rate) / 1e3:.3f} kHz"
    else:
        counter, seconds, positive = board.y_counter, float(1 / raster.line_rate), mode.vertical.positive
        rate = f"{float(raster.frame_rate):.3f} Hz"
    counts = counter.counts
    parts = [
        _Part("visible", 0, counts.visible, svg.ACCENT),
        _Part("front porch", counts.visible, counts.sync_start, svg.LINE),
        _Part("sync", counts.sync_start, counts.sync_end, svg.INK),
        _Part("back porch", counts.sync_end, counts.total, svg.MUTED),
    ]

    def time(number: int) -> str:
        return f"{number * seconds / size:.3f} {unit}"

    polarity = "positive" if positive else "negative"
    verdict = f"{counts.total:,} {noun}s, {time(counts.total)}, {rate}; sync {polarity}"
    label = f"One {name}: " + ", ".join(f"{part.name} {time(part.end - part.start)}" for part in parts)
    span = counts.total * seconds
    drawn = [
        *svg.heading(f"One {name}", verdict),
        *_bar(parts, positive=positive),
        *svg.scale(_AXIS, span, svg.round_step(span, 8), size, f"time since the first visible {noun}, {unit}"),
        svg.text(_COLUMNS[0], _ROWS, f"{axis} counter", fill=svg.MUTED),
        svg.text(_COLUMNS[1], _ROWS, f"{noun}s", anchor="end", fill=svg.MUTED),
        svg.text(svg.WIDTH, _ROWS, "time", anchor="end", fill=svg.MUTED),
    ]
    for row, part in enumerate(parts, start=1):
        y = _ROWS + row * _ROW
        drawn += svg.key(0, y, part.name, fill=part.fill)
        if part.start < part.end:
            first, last = (counter.at(count + counter.delay) for count in (part.start, part.end - 1))
            drawn.append(svg.text(_COLUMNS[0], y, f"{first:,} to {last:,}"))
        drawn.append(svg.text(_COLUMNS[1], y, f"{part.end - part.start:,}", anchor="end"))
        drawn.append(svg.text(svg.WIDTH, y, time(part.end - part.start), anchor="end"))
    return svg.drawing(_ROWS + len(parts) * _ROW + 6, label, drawn)


def _bar(parts: list[_Part], *, positive: bool) -> Iterator[str]:
    total = parts[-1].end

    def place(count: int) -> float:
        return count / total * svg.WIDTH

    for part in parts:
        left, width = place(part.start), place(part.end) - place(part.start)
        yield svg.rectangle(left, _TOP, width, _DEPTH, fill=part.fill, stroke=svg.MUTED, title=part.name)
    sync = parts[2]
    rest, active = (_SYNC_LOW, _SYNC_HIGH) if positive else (_SYNC_HIGH, _SYNC_LOW)
    edges = [(0, rest), (sync.start, rest), (sync.start, active), (sync.end, active), (sync.end, rest), (total, rest)]
    yield svg.trace([(place(count), y) for count, y in edges])
    yield svg.text(0, _TOP + _DEPTH + 15, "sync", fill=svg.MUTED)
