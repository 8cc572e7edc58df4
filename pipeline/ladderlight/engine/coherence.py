"""Frames that are shown one after another: what does not change in the picture keeps its codes.

A dithering decides anew in each frame. A change anywhere, or the noise that a compression leaves, then makes its dots
crawl everywhere, which is seen as flicker. Therefore each frame is compared with those before, as the eye compares
colours, and the reductions receive the codes to keep.

A frame is not compared with the one just before, but at each place with the frame in which the code there was chosen:
otherwise a slow fade would never be seen to change. What is found again as it was in the first frame gets the first
frame's codes, so that a blinking lamp blinks between two sets of dots, and the last frame joins the first.
"""

from concurrent.futures import Future
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ladderlight.colour.spaces import similarity_from_linear
from ladderlight.errors import PictureError
from ladderlight.flow.pictures import JUST_SEEN, Animation, CodedPicture, Picture
from ladderlight.stages.contract import Kept
from ladderlight.system.frozen import Frozen

Bools = NDArray[np.bool_]
Float32 = NDArray[np.float32]
Codes = NDArray[np.uint16]

Reduced = Future[tuple[Codes, CodedPicture]]
"""A frame's codes as the reduction gave them, and the frame after the stages that follow."""

_CUT = 0.05  # of pictures that have less than this share in common, one follows the other by a cut, and nothing is kept


class Frame(Frozen, eq=False):
    """A frame that others are compared with.

    ``looks`` and ``held`` float32 (height, width, 3): how the frame looks, and at each place how the frame looked in
    which the code there was chosen; distances between them are those that people see.
    """

    looks: Float32
    held: Float32


class Compared(Frozen, eq=False):
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
    """Compare a frame, as it goes into the reduction, with those before it in its animation.

    ``before`` is None for the first; after one of another size, the comparison begins anew. ``still`` is the distance
    in OKLab, with lightness as in CIELAB, up to which a colour counts as unchanged, 0 to 1.
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
    of those whose code changes all the same. The frame before the first is the last. ``still`` is where the picture is
    as in the frame before; None when that is not known.
    """
    if still is None or before.codes.shape != picture.codes.shape or still.shape != picture.codes.shape:
        return picture
    steady = int(np.count_nonzero(still))
    flickering = int(np.count_nonzero((picture.codes != before.codes) & still))
    shares = {"still_share": steady / still.size, "flicker_share": flickering / max(steady, 1)}
    return picture.with_metrics({name: round(share, 4) for name, share in shares.items()})


def _alike(looks: Float32, others: Float32, most: float) -> Bools:
    gaps = looks - others
    alike: Bools = np.einsum("...i,...i", gaps, gaps) <= np.float32(most) ** 2
    return alike


@dataclass(kw_only=True)
class FrameSequence:
    """The place reached in an animation. However many frames it has, three of them are held.

    ``still`` is up to which distance a colour counts as unchanged. Without one, colours that look the same do in a file
    whose frames have durations, and only equal ones in others.
    """

    still: float | None = None
    _last: Compared | None = None
    _codes: tuple[Reduced | None, Reduced | None] = (None, None)
    """Of the first frame and of the one before."""
    _first: CodedPicture | None = None
    _before: CodedPicture | None = None

    def compare(self, picture: Picture) -> tuple[Kept, Bools | None]:
        """Take the next frame. Return the codes that it keeps, and where no difference from the one before is seen.

        What it keeps is waited for.
        """
        still = self.still
        if still is None:
            still = 0.0 if picture.origin.duration is None else Animation().still
        found = compare(picture, self._last, still=still)
        if found.first is found.frame:
            self._codes = (None, None)
        first, before = self._codes
        self._last = found
        return found.kept(_codes(before, found.stays), _codes(first, found.returns)), found.unmoved

    def reduce(self, reduced: Reduced) -> None:
        """Note what the frame that was compared last is reduced to, known now or later."""
        self._codes = (self._codes[0] or reduced, reduced)

    def finish(self, picture: CodedPicture, still: Bools | None) -> CodedPicture:
        """Return the next frame, as all stages have left it, with its flicker; ``still`` as it was compared."""
        if self._before is None:
            self._first = self._before = picture
        else:
            self._before = with_flicker(picture, self._before, still)
        return self._before

    def first(self) -> CodedPicture | None:
        """Return the first frame with its flicker, once all are finished: the frame before it is the last."""
        if self._first is None or self._before is None or self._last is None or self._before is self._first:
            return None
        return with_flicker(self._first, self._before, unmoved(self._last.first.looks, self._last.frame.looks))

    def lose(self) -> None:
        """Begin anew: the frame before cannot be used."""
        self._last = None


def _codes(reduced: Reduced | None, mask: Bools | None) -> Codes | None:
    """Return a frame's codes if some of them are kept."""
    if reduced is None or mask is None or not mask.any():
        return None
    try:
        return reduced.result()[0]
    except PictureError:  # reported for that frame
        return None
