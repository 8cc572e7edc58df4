"""A field of pixels that differ from their neighbours."""

import numpy as np

from ladderlight import Board, CodedPicture, stage
from ladderlight_stages.drawing import fair_codes


@stage(help="Black and white pixels by turns: shows a memory that is too slow, and smearing.")
def checkers(board: Board) -> CodedPicture:
    """Draw black and white by turns along each line and down each column, so that the data change at every pixel.

    Seen from afar the picture is an even grey. Where words come too late, pixels are of uneven width or grey.
    """
    dark, bright = fair_codes(board, 2)
    down, across = np.indices((board.geometry.height, board.geometry.width))
    return CodedPicture.of_card(np.where((down + across) % 2, dark, bright).astype(np.uint16))
