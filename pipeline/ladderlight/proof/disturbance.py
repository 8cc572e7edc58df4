"""What the access time does to the picture: undefined moments marked on whole screens, and a part of one enlarged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board
from ladderlight.board.scanning.playback import play
from ladderlight.board.scanning.timing import undefined_share
from ladderlight.units.arrays import MemoryWords

_WIDTH, _HEIGHT, _SCALE = 80, 20, 10
_MARK = (255, 0, 255)


@dataclass(frozen=True, kw_only=True, eq=False)
class Disturbance:
    """``share`` of the picture's time in which data are undefined, 0 to 1, and the enlarged ``pixels``, uint8 sRGB."""

    share: float
    pixels: NDArray[np.uint8]


def disturbance(board: Board, words: MemoryWords, bank: int) -> Disturbance | None:
    """Enlarge the middle of a bank's screen tenfold, striped where the memories' data are not there yet.

    None when nothing of the picture is undefined, or no access time is known.
    """
    if all(memory.access is None for memory in board.memories):
        return None
    shown = play(board, words, bank)
    share = undefined_share(board)
    if not (share or shown.undefined.any()):
        return None
    lines, dots = shown.codes.shape
    top, left = max(0, (lines - _HEIGHT) // 2), max(0, (dots - _WIDTH) // 2)
    part = np.s_[top : top + _HEIGHT, left : left + _WIDTH]
    pixels = board.palette.srgb8[shown.codes[part]].repeat(_SCALE, axis=0).repeat(_SCALE, axis=1)
    unsure = shown.undefined[part].repeat(_SCALE, axis=0).repeat(_SCALE, axis=1)
    rows, columns = np.indices(unsure.shape)
    pixels[unsure & ((rows + columns) // 3 % 2 == 0)] = _MARK
    return Disturbance(share=float(shown.undefined.mean()) if share is None else share, pixels=pixels)
