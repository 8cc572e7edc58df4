"""The palette's section of the proof page."""

from __future__ import annotations

from typing import Any

import numpy as np
from markupsafe import Markup

from ladderlight.proof.plots.palettes import palette_fields, palette_plot
from ladderlight.proof.scanout import Scanned

_MOST_LISTED = 512
_LISTED_BESIDE_MANY = 64
_MANY = 8
"""Screens from which on a page has no room for a long list."""


def palette_section(scanned: Scanned) -> dict[str, Any]:
    """Return the palette's ``plot`` with its ``fields``, and how many pixels of the different screens show each code.

    ``fields`` are rows of codes, -1 for none; ``swatches`` are empty for very many ``codes``, and for many
    beside many screens.
    """
    palette = scanned.board.palette
    uses = {
        bank: np.bincount(scanned.codes[bank].ravel(), minlength=len(palette)).astype(np.int64)
        for bank in scanned.distinct
    }
    pixels = np.stack(list(uses.values())).sum(axis=0)
    width = len(palette.lines)
    most = _MOST_LISTED if len(scanned.distinct) <= _MANY else _LISTED_BESIDE_MANY
    listed = range(len(palette) if len(palette) <= most else 0)
    return {
        "plot": Markup(palette_plot(palette, uses)),  # noqa: S704 - our own SVG, its words escaped there
        "fields": [field.codes.tolist() for field in palette_fields(palette, uses)],
        "codes": len(palette),
        "used": int(np.count_nonzero(pixels)),
        "lines": list(reversed(palette.lines)),
        "swatches": [
            {
                "code": f"{code:0{(width + 3) // 4}X}",
                "bits": f"{code:0{width}b}",
                "volts": [f"{volt:.3f}" for volt in palette.volts[code]],
                "srgb": palette.hex_of(code),
                "pixels": int(pixels[code]),
            }
            for code in listed
        ],
    }
