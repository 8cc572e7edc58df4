"""Screens as PNG files."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ladderlight.board import Board

_MOST_EMPTY = 16
"""Banks that are shown when no picture names its bank."""


def shown_banks(board: Board, manifest: Mapping[str, Any]) -> list[int]:
    """Choose the banks to show: those that hold pictures, or all up to 16 when nothing says where pictures are."""
    banks = sorted({picture["bank"] for picture in manifest["pictures"]})
    return banks or list(range(min(board.bank_count, _MOST_EMPTY)))


def to_png(pixels: NDArray[np.uint8]) -> bytes:
    """Write pixels, uint8 (height, width, 3), as a PNG; with up to 256 colours as an indexed one, which is smaller."""
    packed = pixels.astype(np.uint32) @ np.array([1 << 16, 1 << 8, 1], dtype=np.uint32)
    colours, index = np.unique(packed, return_inverse=True)
    if len(colours) > 256:
        picture = Image.fromarray(pixels)
    else:
        picture = Image.frombytes("P", packed.shape[::-1], index.astype(np.uint8).tobytes())
        picture.putpalette(b"".join(int(colour).to_bytes(3, "big") for colour in colours))
    file = io.BytesIO()
    picture.save(file, format="PNG")
    return file.getvalue()
