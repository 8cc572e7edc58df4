"""Frames that are shown one after another: what does not change in the picture keeps its codes.

A dithering decides anew in each frame. A change anywhere, or the noise that a compression leaves, then makes its dots
crawl everywhere, which is seen as flicker. Therefore each frame is compared with those before, as the eye compares
colours, and the reductions receive the codes to keep.

A frame is not compared with the one just before, but at each place with the frame in which the code there was chosen:
otherwise a slow fade would never be seen to change. What is found again as it was in the first frame gets the first
frame's codes, so that a blinking lamp blinks between two sets of dots, and the last frame joins the first.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ladderlight.colour.spaces import similarity_from_linear
from ladderlight.flow.pictures import JUST_SEEN, CodedPicture, Picture
from ladderlight.stages.contract import Kept

Bools = NDArray[np.bool_]
Float32 = NDArray[np.float32]
Codes = NDArray[np.uint16]

_CUT = 0.05
"""Of pictures that have less than this share in common, one follows the other by a cut, and nothing is kept."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Frame:
    """A frame that others are compared with.

    ``looks`` and ``held`` float32 (height, width, 3): how the frame looks, and at each place how the frame looked in
    which the code there was chosen; distances between them are those that people see.
    """

    looks: Float32
    held: Float32


@dataclass(frozen=True, kw_only=True, eq=False)
class Compared:
    """A frame compared with the one before and the first of its animation.

    ``stays`` and ``returns`` bool (height, width): where the codes of the frame before and where those of the first one
    are kept. ``unmoved`` bool (height, width): where no difference from the frame before can be seen. None where there
    is nothing to compare with.
    """

    frame: Frame
    first: Frame
    stays: Bools | None = None
    returns: Bools | None = None
    unmoved: Bools | None = None

    def kept(self, before: Codes | None, first: Codes | None) -> Kept:
        """Return the codes that the frame keeps, of those of the frame before and of the first one."""
        kept = None
        for mask, codes in ((self.stays, before), (self.returns, first)):
            if codes is None or mask is None or codes.shape != mask.shape or not mask.any():
                continue
            kept = np.full(mask.shape, -1, dtype=np.int32) if kept is None else kept
            kept[mask] = codes[mask]
        return Kept(codes=kept)


def compare(picture: Picture, before: Compared | None, *, still: float) -> Compared:
    """Compare a frame with those before it in its animation.

    Parameters
    ----------
    picture
        The frame as it goes into the reduction.
    before
        The frame before; None for the first. One of another size begins anew.
    still
        Distance in OKLab, with lightness as in CIELAB, up to which a colour counts as unchanged, 0 to 1.
    """
    looks = similarity_from_linear(np.clip(picture.pixels, 0.0, 1.0))
    if before is None or before.frame.looks.shape != looks.shape:
        frame = Frame(looks=looks, held=looks)
        return Compared(frame=frame, first=frame)
    first, last = before.first, before.frame
    stays = _alike(looks, last.held, still)
    returns = _alike(looks, first.looks, still) & ~stays
    if np.count_nonzero(stays | returns) < _CUT * stays.size:
        stays, returns = np.zeros_like(stays), np.zeros_like(stays)
    held = np.where(stays[:, :, np.newaxis], last.held, looks)
    held[returns] = first.looks[returns]
    return Compared(
        frame=Frame(looks=looks, held=held),
        first=first,
        stays=stays,
        returns=returns,
        unmoved=unmoved(looks, last.looks),
    )


def unmoved(looks: Float32, others: Float32) -> Bools | None:
    """Return where no difference between two frames can be seen, None when their sizes differ."""
    return _alike(looks, others, JUST_SEEN) if looks.shape == others.shape else None


def with_flicker(picture: CodedPicture, before: CodedPicture, still: Bools | None) -> CodedPicture:
    """Record in a frame of an animation how much flickers between the frame before and it.

    ``still_share`` is the share of pixels where no difference of the picture can be seen, ``flicker_share`` the share
    of those whose code changes all the same. The frame before the first is the last.

    Parameters
    ----------
    picture, before
        The frame, and the one before.
    still
        Where the picture is as in the frame before; None when that is not known.
    """
    if still is None or before.codes.shape != picture.codes.shape or still.shape != picture.codes.shape:
        return picture
    steady = int(np.count_nonzero(still))
    flickering = int(np.count_nonzero((picture.codes != before.codes) & still))
    shares = {
        "still_share": round(steady / still.size, 4),
        "flicker_share": round(flickering / max(steady, 1), 4),
    }
    return picture.with_metrics(shares)


def _alike(looks: Float32, others: Float32, most: float) -> Bools:
    gaps = looks - others
    alike: Bools = np.einsum("...i,...i", gaps, gaps) <= np.float32(most) ** 2
    return alike
