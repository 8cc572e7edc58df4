"""Lamps alone: each pixel dark, or the board's lightest colour."""

from __future__ import annotations

from typing import Annotated

import numpy as np

from ladderlight import Board, CodedPicture, Kept, Option, Picture, stage


@stage(help="Reduce to the darkest and the lightest of the board's colours.")
def lamps(
    picture: Picture,
    board: Board,
    kept: Kept,
    *,
    threshold: Annotated[float, Option("mean light from which a lamp is lit", minimum=0, maximum=1)] = 0.5,
) -> CodedPicture:
    """Light a lamp where the mean of the three guns reaches the threshold."""
    light = board.palette.linear.sum(axis=1)
    lit = picture.pixels.mean(axis=2) >= threshold
    codes = np.where(lit, light.argmax(), light.argmin()).astype(np.uint16)
    return picture.coded(kept.over(codes))
