"""Frames of an animation coded one after another: what each keeps of those before, and how much flickers."""

from concurrent.futures import Future
from dataclasses import dataclass

from ladderlight.engine.coherence import Bools, Codes, Compared, compare, unmoved, with_flicker
from ladderlight.errors import PictureError
from ladderlight.flow.pictures import Animation, CodedPicture, Picture
from ladderlight.stages.contract import Kept

Reduced = Future[tuple[Codes, CodedPicture]]
"""A frame's codes as the reduction gave them, and the frame after the stages that follow."""


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
