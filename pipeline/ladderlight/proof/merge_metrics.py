"""What an arrangement has made of the coded pictures, told from the words that are burned."""

from collections.abc import Iterable

import numpy as np

from ladderlight.board.scanning.scan import is_direct
from ladderlight.flow.pictures import CodedPicture, PlacedPicture
from ladderlight.proof.scanout import Scanned

Place = tuple[str, int]
"""A picture's name and its bank."""


def merged_metrics(
    scanned: Scanned, placed: Iterable[PlacedPicture], coded: Iterable[CodedPicture]
) -> dict[Place, dict[str, float]]:
    """Measure the pictures that are shown with other codes than their reduction gave.

    Only an arrangement that shares tiles or colours changes codes, and it can share only what another memory looks up:
    where counters address all memories, nothing is compared.

    ``placed`` are pictures and their banks, which have been scanned, and ``coded`` the same as they were reduced;
    others, and those of another size than the board's picture, are passed over.

    By name and bank, and only where a code differs, returned are ``merged_share``, the share of pixels whose code
    differs, above 0 to 1, and ``colours_used``, how many different colours are shown.
    """
    board = scanned.board
    if all(is_direct(board, memory) for memory in board.memories):
        return {}
    wanted = {picture.origin.name: picture.codes for picture in coded}
    size = (board.geometry.height, board.geometry.width)
    _, colour = np.unique(board.palette.linear, axis=0, return_inverse=True)
    colour_of_code = colour.reshape(-1)
    found: dict[Place, dict[str, float]] = {}
    for picture in placed:
        codes = wanted.get(picture.origin.name)
        if codes is None or codes.shape != size:
            continue
        shown = scanned.codes[picture.bank]
        differing = int(np.count_nonzero(shown != codes))
        if differing:
            used = np.bincount(shown.ravel(), minlength=len(colour_of_code)) > 0
            found[picture.origin.name, picture.bank] = {
                "merged_share": round(differing / codes.size, 6),
                "colours_used": int(np.unique(colour_of_code[used]).size),
            }
    return found
