"""Which codes stand for which colours: a fair choice of few, and codes for shares of drive."""

import numpy as np

from ladderlight import Board
from ladderlight.board.scanning.lookup import lookup_of
from ladderlight.colour.spaces import oklab_from_linear
from ladderlight.units.arrays import Codes, Floats, Ints


def distinct_codes(board: Board) -> Ints:
    """Return one code, the lowest, for each colour that the board shows, ascending: int64."""
    _, first = np.unique(board.palette.drive, axis=0, return_index=True)
    return np.sort(first).astype(np.int64)


def fair_codes(board: Board, most: int) -> Ints:
    """Return up to ``most`` codes that lie as far apart as possible in OKLab, int64, in the order of their choice.

    Black is first, then white, then always the colour farthest from those before it (Gonzalez's farthest-point rule,
    1985), so that a shorter choice is the beginning of a longer one. A board with colour look-up gives no more colours
    than its look-up memories hold.
    """
    codes = distinct_codes(board)
    looks = oklab_from_linear(board.palette.linear[codes])
    lookup = lookup_of(board)
    count = min(most, len(codes), lookup.size if lookup else most)
    chosen = [int(np.argmin(looks[:, 0]))]
    nearest = np.full(len(codes), np.inf)
    while len(chosen) < count:
        nearest = np.minimum(nearest, np.sum((looks - looks[chosen[-1]]) ** 2, axis=1))
        chosen.append(int(np.argmax(looks[:, 0])) if len(chosen) == 1 else int(np.argmax(nearest)))
    return codes[chosen]


def codes_of_shares(board: Board, shares: Floats) -> Codes:
    """Return codes for shares of drive that are spread evenly from 0 to 1, so that all codes become about as frequent.

    The colours are halved along the gun in which they differ most, and the halves again (a k-d tree), with the shares
    of that gun in proportion. Where guns are independent, each gun's levels follow its own share. Shares are of shape
    (height, width, 3).
    """
    lookup = lookup_of(board)
    codes = fair_codes(board, lookup.size) if lookup else distinct_codes(board)
    drive = board.palette.drive[codes]
    found = np.zeros(shares[..., 0].size, dtype=np.uint16)
    left = [(np.arange(len(codes)), np.arange(found.size), shares.reshape(-1, 3).copy())]
    while left:
        members, pixels, share = left.pop()
        if len(members) == 1 or not len(pixels):
            found[pixels] = codes[members[0]]
            continue
        gun = int(np.argmax(np.ptp(drive[members], axis=0)))
        members = members[np.argsort(drive[members, gun], kind="stable")]
        steps = np.flatnonzero(np.diff(drive[members, gun])) + 1
        at = int(steps[np.argmin(np.abs(steps - len(members) / 2))])
        part = at / len(members)
        low = share[:, gun] < part
        below, above = share[low], share[~low]
        below[:, gun] /= part
        above[:, gun] = (above[:, gun] - part) / (1 - part)
        left += [(members[:at], pixels[low], below), (members[at:], pixels[~low], above)]
    return found.reshape(shares.shape[:2])
