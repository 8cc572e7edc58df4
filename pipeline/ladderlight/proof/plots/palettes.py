"""A palette as swatches, by code."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ladderlight.board.model.ladder import GUNS
from ladderlight.board.model.palette import Palette
from ladderlight.colour.lightness import LUMINANCE
from ladderlight.proof.plots.drawing import QUIET, RULE, WIDTH, drawing, rectangle, text

MOST_SWATCHES = 4096
"""Codes up to which each gets a swatch; of more, the levels of each gun are shown instead."""

_LABELLED = 64
_DIM = 0.18
"""Luminance from which dark words are read better than light ones."""


def palette_plot(palette: Palette) -> str:
    """Plot every code's colour in rows, code 0 first; up to 64 with code, colour and millivolts written on them."""
    count = len(palette)
    label = f"Palette of {count:,} codes"
    if count > MOST_SWATCHES:
        return drawing(3 * 40.0, label + ": the levels of each gun", list(_ramps(palette)))
    columns = 8 if count <= _LABELLED else 16 if count <= 256 else 64
    columns = min(columns, count)
    width = WIDTH / columns
    height = 46.0 if count <= _LABELLED else max(width * 0.5, 10.0)
    rows = -(-count // columns)
    return drawing(rows * height, label, list(_swatches(palette, columns, width, height)))


def _swatches(palette: Palette, columns: int, width: float, height: float) -> Iterator[str]:
    bits = len(palette.lines)
    luminance = palette.linear @ LUMINANCE
    for code in range(len(palette)):
        x, y = code % columns * width, code // columns * height
        colour = palette.hex_of(code)
        volts = ", ".join(f"{value:.3f}" for value in palette.volts[code].tolist())
        title = f"code {code:0{(bits + 3) // 4}X} ({code:0{bits}b}): {colour}, {volts} V"
        yield rectangle(x, y, width, height, fill=colour, stroke=RULE, title=title)
        if len(palette) <= _LABELLED:
            fill = "#000" if luminance[code] > _DIM else "#fff"
            yield text(x + 6, y + 15, f"{code:0{(bits + 3) // 4}X}", size=12, fill=fill, bold=True)
            yield text(x + width - 6, y + 15, colour, anchor="end", size=10, fill=fill)
            values = " ".join(f"{value * 1e3:.0f}" for value in palette.volts[code].tolist())
            yield text(x + 6, y + height - 8, values, size=10, fill=fill)


def _ramps(palette: Palette) -> Iterator[str]:
    for gun, name in enumerate(GUNS):
        shades = np.unique(palette.srgb8[:, gun]).tolist()
        width = (WIDTH - 60) / len(shades)
        yield text(0, gun * 40 + 24, name, fill=QUIET)
        for position, shade in enumerate(shades):
            parts = [0, 0, 0]
            parts[gun] = shade
            colour = "#" + "".join(f"{part:02x}" for part in parts)
            yield rectangle(60 + position * width, gun * 40 + 4, width, 32, fill=colour, title=colour)
