"""Frame sequences: the files that are shown one after another, and what each needs from the file before.

Files are read, cropped and resized on many threads at once, whatever they belong to. Only the comparison of an
animation's frames goes in their order, which is quick, and the reduction of those that keep codes of the frame before.
Whatever the number of threads, the result is the same.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from typing import Any

from ladderlight.engine.coherence import Bools, Compared, compare, unmoved, with_flicker
from ladderlight.flow.matching import file_name, matching
from ladderlight.flow.pictures import Animation, CodedPicture, Picture
from ladderlight.stages.contract import Kept

Reduce = Callable[[Picture, Kept], CodedPicture]


class FrameSequence:
    """The files of one animation, or a single file, in order. Each file is coded once, by a thread of its own."""

    def __init__(self, names: Sequence[str], still: float | None) -> None:
        """Take the files' names, and up to which distance a colour counts as unchanged.

        Without one, colours that look the same do in a file whose frames have durations, and only equal ones in others.
        """
        self.names = tuple(names)
        self._still = still
        self._places = {name: place for place, name in enumerate(names)}
        self._lasts: dict[int, Future[Compared | None]] = {place: Future() for place in self._places.values()}
        self._masks: dict[str, list[Bools | None]] = {}

    @property
    def animated(self) -> bool:
        """Whether an arrangement shows the files one after another."""
        return self._still is not None

    def reduce(self, name: str, pictures: Sequence[Any], reduced: Reduce) -> list[CodedPicture]:
        """Reduce a file's frames, all of them pictures, with the codes that they keep from those before."""
        if len(self._places) == 1 and len(pictures) == 1:
            self.close(name)
            return [reduced(pictures[0], Kept())]
        place = self._places[name]
        last = self._lasts[place - 1].result() if place else None
        self._lasts.pop(place - 1, None)  # it holds pixels, and nobody else asks for it
        still = self._still if self._still is not None else _default_still(pictures)
        compared: list[Compared] = []
        for picture in pictures:
            last = compare(picture, last, still=still)
            compared.append(last)
        self._masks[name] = [found.unmoved for found in compared]
        self._lasts[place].set_result(last)
        coded = []
        try:
            for picture, found in zip(pictures, compared, strict=True):
                coded.append(reduced(picture, found.kept()))
                found.frame.codes.set_result(coded[-1].codes)
        finally:
            for found in compared[len(coded) :]:
                if not found.frame.codes.done():
                    found.frame.codes.set_result(None)
        return coded

    def close(self, name: str) -> None:
        """Release the next file, whatever has become of this one."""
        future = self._lasts.get(self._places[name])
        if future is not None and not future.done():
            future.set_result(None)

    def with_flicker(self, coded: Mapping[str, Sequence[CodedPicture]]) -> dict[str, list[CodedPicture]]:
        """Record the flicker in the frames of all files, once all are coded."""
        masks = [mask for name in self._places for mask in self._masks.get(name, [None] * len(coded[name]))]
        last = self._lasts[len(self._places) - 1].result()
        if last is not None and len(masks) > 1:
            masks[0] = unmoved(last.first.looks, last.frame.looks)
        noted = iter(with_flicker([picture for name in self._places for picture in coded[name]], masks))
        return {name: [next(noted) for _ in coded[name]] for name in self._places}


def frame_sequences(sources: Mapping[str, str], animations: Sequence[Animation]) -> list[FrameSequence]:
    """Join the files of each animation; every other file stands alone.

    Parameters
    ----------
    sources
        The files by the names of their pictures, in order, as the recipe gives them.
    animations
        Of several that a file belongs to, the first counts.
    """
    alone = dict.fromkeys(sources)
    sequences = []
    for animation in animations:
        matched = matching(animation.match, sources, lambda name: (name, file_name(sources[name])))
        members = [name for name in matched if name in alone]
        for name in members:
            del alone[name]
        if members:
            sequences.append(FrameSequence(members, animation.still))
    return [*sequences, *(FrameSequence([name], None) for name in alone)]


def _default_still(pictures: Sequence[Picture]) -> float:
    return Animation().still if any(picture.origin.duration for picture in pictures) else 0.0
