"""Coded pictures as they wait to be arranged: in the cache, or in memory."""

from __future__ import annotations

import operator
import os
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache, partial
from itertools import chain
from typing import Any, TypeVar, overload

from ladderlight.cache.entries import DamagedError, Entry
from ladderlight.cache.store import Writing
from ladderlight.engine.board_use import Used
from ladderlight.engine.entries import Described, add_picture, codes_in, described, is_plain, refusing_damage, view_in
from ladderlight.engine.plan import Unit
from ladderlight.errors import Fault
from ladderlight.flow.pictures import CodedPicture, SourceView
from ladderlight.recipe import PictureFile
from ladderlight.system.frozen import Frozen

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True, slots=True)
class CodedUnit:
    """The coded pictures of a unit, one after another, as they wait: of thousands no more than this is in memory."""

    counts: tuple[int, ...]
    """How many pictures each file of the unit has."""
    cautions: tuple[tuple[str, int, str], ...] = ()
    """Files with the frames of which stages have one, and the caution."""
    place: str = ""
    """The file of the cache that has the pictures; empty when they are in memory."""
    held: tuple[CodedPicture, ...] = ()
    """The pictures that are in memory."""
    described: tuple[Described, ...] = ()
    """The others, where the cache has no more than codes and views."""
    used: Used = frozenset()
    """What was used of the board for them."""
    is_new: bool = True
    """Whether they were coded for this build, not found in the cache."""

    @classmethod
    def of(cls, entry: Entry, used: Used) -> CodedUnit:
        """Return what an entry holds.

        Raises DamagedError when that is something else.
        """
        with refusing_damage():
            counts, noted = tuple(entry.about["counts"]), cautions(map(described, entry.about["pictures"]))
            return cls(counts=counts, cautions=noted, place=entry.path, used=used, is_new=False)

    def opened(self) -> OpenedUnit:
        """Return the pictures; raises ``DamagedError`` when the cache no longer has them."""
        if not self.place:
            return OpenedUnit(described=tuple(map(Described.of, self.held)), held=self.held)
        entry = Entry.open(self.place, os.path.basename(self.place))  # noqa: PTH119 - thousands
        if entry is None:
            raise DamagedError(f"{self.place} is damaged")
        with refusing_damage():
            return OpenedUnit(described=self.described or tuple(map(described, entry.about["pictures"])), entry=entry)

    def with_codes(self) -> CodedUnit:
        """Return the same with all pictures in memory; raises as :meth:`opened`."""
        opened = self.opened()
        found = (replace(opened.picture(at), view=opened.view(at)) for at in range(len(opened.described)))
        return replace(self, held=tuple(found), described=(), place="")


def cautions(pictures: Iterable[Described | CodedPicture]) -> tuple[tuple[str, int, str], ...]:
    """Return the cautions of pictures, each with its file and frame."""
    return tuple(
        (each.origin.source, each.origin.frame, str(each.notes["caution"]))
        for each in pictures
        if "caution" in each.notes
    )


class OpenedUnit(Frozen):
    """The coded pictures of a unit without their codes."""

    described: tuple[Described, ...]
    held: tuple[CodedPicture, ...] = ()
    """The pictures, where they are in memory."""
    entry: Entry | None = None

    def picture(self, index: int) -> CodedPicture:
        """Return a picture without its view; raises ``DamagedError`` when the cache no longer has its codes."""
        codes = self.held[index].codes if self.entry is None else codes_in(self.entry, index)
        return self.described[index].with_codes(codes)

    def view(self, index: int) -> SourceView | None:
        """Return the view of a picture; raises as :meth:`picture`."""
        return self.held[index].view if self.entry is None else view_in(self.entry, index)


class CodedWriting:
    """The coded pictures of a unit as they are written one after another."""

    def __init__(self, writing: Writing, files: int) -> None:
        self.writing = writing
        self._counts = [0] * files
        self._pictures: list[Described] = []
        self._about: list[dict[str, Any]] = []

    def add(self, place: int, picture: CodedPicture) -> None:
        """Write a picture of the file at a place in the unit."""
        self._counts[place] += 1
        self._pictures.append(Described.of(picture))
        self._about.append(add_picture(self.writing, picture))

    def correct_first(self, first: CodedPicture | None) -> None:
        """Take the measures of the first picture, if they were not known before the last one."""
        if first is not None:
            self._pictures[0] = Described.of(first)
            self._about[0]["metrics"] = dict(first.metrics)

    @cached_property
    def is_plain(self) -> bool:
        """Whether the description of the pictures comes out of the cache as it went in, once all are written."""
        return is_plain({"pictures": self._about})

    @property
    def about(self) -> dict[str, Any]:
        """The description of the entry; where it is not plain, so much as codes and views need to be read."""
        pictures = self._about if self.is_plain else [{"shape": a["shape"], "view": a["view"]} for a in self._about]
        return {"pictures": pictures, "counts": self._counts}

    def unit(self, entry: Entry, used: Collection[str]) -> CodedUnit:
        """Return the unit, once its entry is in its place."""
        return CodedUnit(
            counts=tuple(self._counts),
            cautions=cautions(self._pictures),
            place=entry.path,
            described=() if self.is_plain else tuple(self._pictures),
            used=_shared(frozenset(used)),
        )

    def discard(self) -> None:
        """Give up what is not in its place yet."""
        self.writing.discard()


@lru_cache(maxsize=16)
def _shared(used: Used) -> Used:
    """Return the same, and one object for all that are equal."""
    return used


class CodedPictures(Sequence[CodedPicture]):
    """The coded pictures of some files, in the order of the files. Codes are read whenever a picture is asked for."""

    def __init__(
        self,
        coded: Mapping[Unit, CodedUnit],
        files: Sequence[PictureFile],
        again: Callable[[Unit], CodedUnit],
        *,
        cards: Sequence[CodedPicture] = (),
        faults: Sequence[Fault] = (),
    ) -> None:
        """Take the coded units, the files, and a function that codes a unit anew, should the cache have lost it.

        Cards come after the files. Files of units that are not there are passed over; ``faults`` say why.
        """
        self.faults = faults
        self._coded, self._files, self._again, self._cards = dict(coded), files, again, cards
        self._units = {file: unit for unit in coded for file in unit.files}
        self._opened = dict[Unit, OpenedUnit]()

    @cached_property
    def _places(self) -> list[tuple[Unit, int] | CodedPicture]:
        ends = dict.fromkeys(self._coded, 0)
        indices = dict[PictureFile, range]()
        for unit, found in self._coded.items():
            for file, count in zip(unit.files, found.counts, strict=True):
                start, ends[unit] = ends[unit], ends[unit] + count
                indices[file] = range(start, ends[unit])
        held = ((self._units[file], indices[file]) for file in self._files if file in self._units)
        return [*((unit, index) for unit, own in held for index in own), *self._cards]

    def with_cards(self, cards: Sequence[CodedPicture]) -> CodedPictures:
        """Return the same pictures with test cards after them."""
        return CodedPictures(self._coded, self._files, self._again, cards=cards)

    def taken(self, files: Sequence[PictureFile]) -> CodedPictures:
        """Return the pictures of some of the files, which are all those of their units, and hold them no longer."""
        units = dict.fromkeys(self._units.pop(file) for file in files)
        self.__dict__.pop("_places", None)
        return CodedPictures({unit: self._coded.pop(unit) for unit in units}, files, self._again)

    def has(self, files: Iterable[PictureFile]) -> bool:
        """Whether the pictures of these files are among them."""
        return all(file in self._units for file in files)

    @property
    def reduced(self) -> int:
        """How many files were reduced to codes for this build, not found in the cache."""
        return sum(len(unit.files) for unit, found in self._coded.items() if found.is_new)

    @property
    def frames(self) -> dict[PictureFile, int]:
        """How many pictures each file has."""
        counts = (zip(unit.files, found.counts, strict=True) for unit, found in self._coded.items())
        return dict(chain.from_iterable(counts))

    @property
    def cautions(self) -> Iterator[tuple[str, int, str]]:
        """The cautions of pictures, each with its file and frame."""
        return chain.from_iterable(found.cautions for found in self._coded.values())

    @property
    def described(self) -> list[Described]:
        """The pictures without their codes."""
        return [
            Described.of(place)
            if isinstance(place, CodedPicture)
            else self._read(place[0], operator.attrgetter("described"))[place[1]]
            for place in self._places
        ]

    def views(self) -> dict[str, SourceView]:
        """Return the views of the pictures that have one, by name."""
        found = {}
        for place in self._places:
            if not isinstance(place, CodedPicture):
                unit, index = place
                view = self._read(unit, partial(OpenedUnit.view, index=index))
                if view is not None:
                    found[self._opened[unit].described[index].origin.name] = view
        return found

    def __len__(self) -> int:
        return len(self._places)

    @overload
    def __getitem__(self, index: int) -> CodedPicture: ...
    @overload
    def __getitem__(self, index: slice) -> list[CodedPicture]: ...
    def __getitem__(self, index: int | slice) -> CodedPicture | list[CodedPicture]:
        if isinstance(index, slice):
            return [self._picture(place) for place in self._places[index]]
        return self._picture(self._places[index])

    def _picture(self, place: tuple[Unit, int] | CodedPicture) -> CodedPicture:
        if isinstance(place, CodedPicture):
            return place
        unit, index = place
        return self._read(unit, partial(OpenedUnit.picture, index=index))

    def _read(self, unit: Unit, part: Callable[[OpenedUnit], T]) -> T:
        """Read something of a unit, which is coded anew where the cache has lost it."""
        try:
            if unit not in self._opened:
                self._opened[unit] = self._coded[unit].opened()
            return part(self._opened[unit])
        except DamagedError:
            self._coded[unit] = self._again(unit)
            self._opened[unit] = self._coded[unit].opened()
            return part(self._opened[unit])
