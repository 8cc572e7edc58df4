"""Figures of the proof page in numbers: the template only draws what is worked out here."""

from __future__ import annotations

from typing import Any

from ladderlight.board import Board
from ladderlight.board.ladder import GUNS

WHITE = (0.665, 0.770)
"""White level in volts within the tolerance of VESA's Video Signal Standard."""


def guns_of(board: Board) -> list[dict[str, Any]]:
    """Give each gun's levels: ``name`` and ``levels`` with ``volts`` and ``colour``, lowest first, equal ones once.

    Positions ``x`` are per cent of a scale from 0 to 1.25 times the peak.
    """
    top = board.ladder.peak * 1.25
    palette = board.palette
    found = []
    for gun, name in enumerate(GUNS):
        levels: dict[str, dict[str, Any]] = {}
        for volts, shade in sorted(zip(palette.volts[:, gun].tolist(), palette.srgb8[:, gun].tolist(), strict=True)):
            parts = ["00"] * 3
            parts[gun] = f"{shade:02x}"
            levels.setdefault(
                f"{volts:.4f}",
                {"volts": f"{volts:.3f}", "x": round(min(100 * volts / top, 100), 2), "colour": "#" + "".join(parts)},
            )
        found.append({"name": name, "levels": list(levels.values())})
    return found


def scan_line(board: Board) -> dict[str, Any]:
    """Give the parts of one line, in per cent of its length and in microseconds."""
    x, clock = board.raster.x, float(board.raster.clock)
    edges = [("visible", 0, x.visible), ("front porch", x.visible, x.sync_start)]
    edges += [("sync", x.sync_start, x.sync_end), ("back porch", x.sync_end, x.total)]
    return {
        "total": x.total,
        "microseconds": f"{x.total / clock * 1e6:.2f}",
        "parts": [
            {
                "name": name,
                "counts": end - start,
                "microseconds": f"{(end - start) / clock * 1e6:.2f}",
                "x": round(100 * start / x.total, 3),
                "width": round(100 * (end - start) / x.total, 3),
            }
            for name, start, end in edges
        ],
    }
