"""Coded pictures as they wait to be arranged: their codes in the cache, the rest of them in memory."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Any, TypeVar, overload

from ladderlight.cache.entries import DamagedError, Entry
from ladderlight.cache.store import Writing
from ladderlight.engine.board_use import Used
from ladderlight.engine.coherence import Codes
from ladderlight.engine.entries import Described, add_picture, codes_in, described, is_plain, view_in
from ladderlight.engine.plan import Unit
from ladderlight.errors import Fault
from ladderlight.flow.pictures import CodedPicture, SourceView
from ladderlight.recipe import PictureFile

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class CodedUnit:
    """The coded pictures of a unit, one after another, without their codes."""

    pictures: tuple[Described, ...]
    counts: tuple[int, ...]
    """How many pictures each file of the unit has."""
    entry: Entry | None = None
    """Where codes and views are kept; None when they are in memory."""
    codes: tuple[Codes, ...] = ()
    views: tuple[SourceView | None, ...] = ()
    used: Used = frozenset()
    """What was used of the board for them."""
    is_new: bool = True
    """Whether they were coded for this build, not found in the cache."""

    @classmethod
    def of(cls, entry: Entry, used: Used) -> CodedUnit:
        """Return what an entry holds.

        Raises
        ------
        DamagedError
            When that is something else.
        """
        try:
            found = tuple(described(each) for each in entry.about["pictures"])
            counts, slim = tuple(entry.about["counts"]), replace(entry, about=_shapes(entry.about["pictures"]))
            return cls(pictures=found, counts=counts, entry=slim, used=used, is_new=False)
        except (KeyError, TypeError) as error:
            raise DamagedError(str(error)) from error

    def with_codes(self) -> CodedUnit:
        """Return the same with its codes and views in memory; raises as :meth:`picture`."""
        places = range(len(self.pictures))
        codes = tuple(self.picture(index).codes for index in places)
        return replace(self, codes=codes, views=tuple(map(self.view, places)), entry=None)

    def picture(self, index: int) -> CodedPicture:
        """Return a picture with its codes, but without its view.

        Raises
        ------
        DamagedError
            When they are no longer there.
        """
        codes = self.codes[index] if self.entry is None else codes_in(self.entry, index)
        return self.pictures[index].with_codes(codes)

    def view(self, index: int) -> SourceView | None:
        """Return the view of a picture; raises as :meth:`picture`."""
        return self.views[index] if self.entry is None else view_in(self.entry, index)


class CodedWriting:
    """The coded pictures of a unit as they are written one after another."""

    def __init__(self, writing: Writing, files: int) -> None:
        """Take the entry that is written, and how many files the unit has."""
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

    @property
    def about(self) -> dict[str, Any]:
        """The description of the entry."""
        return {"pictures": self._about, "counts": self._counts}

    @property
    def shapes(self) -> dict[str, Any]:
        """So much of it as codes and views need to be read."""
        return _shapes(self._about)

    @property
    def is_plain(self) -> bool:
        """Whether the description comes out of the cache as it went in."""
        return is_plain({"pictures": self._about})

    def unit(self, entry: Entry, used: Collection[str]) -> CodedUnit:
        """Return the unit, once its entry is in its place."""
        pictures, counts, slim = tuple(self._pictures), tuple(self._counts), replace(entry, about=self.shapes)
        return CodedUnit(pictures=pictures, counts=counts, entry=slim, used=frozenset(used))

    def discard(self) -> None:
        """Give up what is not in its place yet."""
        self.writing.discard()


def _shapes(pictures: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    return {"pictures": [{"shape": each["shape"], "view": each["view"]} for each in pictures]}


class CodedPictures(Sequence[CodedPicture]):
    """The coded pictures of some files, in the order of the files. Codes are read whenever a picture is asked for."""

    faults: Sequence[Fault] = ()
    """What is wrong with the files of units that are not there."""

    def __init__(
        self,
        coded: Mapping[Unit, CodedUnit],
        files: Sequence[PictureFile],
        again: Callable[[Unit], CodedUnit],
        cards: Sequence[CodedPicture] = (),
    ) -> None:
        """Take the coded units, the files, and a function that codes a unit anew, should the cache have lost it.

        Cards come after the files. Files of units that are not there are passed over.
        """
        self._coded, self._files, self._again, self._cards = dict(coded), files, again, cards
        self._by_file = dict[PictureFile, tuple[Unit, range]]()
        for unit, found in coded.items():
            end = 0
            for file, count in zip(unit.files, found.counts, strict=True):
                self._by_file[file] = unit, range(end, end := end + count)

    @cached_property
    def _places(self) -> list[tuple[Unit, int] | CodedPicture]:
        held = (self._by_file[file] for file in self._files if file in self._by_file)
        return [*((unit, index) for unit, indices in held for index in indices), *self._cards]

    def with_cards(self, cards: Sequence[CodedPicture]) -> CodedPictures:
        """Return the same pictures with test cards after them."""
        return CodedPictures(self._coded, self._files, self._again, cards)

    def taken(self, files: Sequence[PictureFile]) -> CodedPictures:
        """Return the pictures of some of the files, which are all those of their units, and hold them no longer."""
        units = dict.fromkeys(self._by_file.pop(file)[0] for file in files)
        self.__dict__.pop("_places", None)
        return CodedPictures({unit: self._coded.pop(unit) for unit in units}, files, self._again)

    def has(self, files: Iterable[PictureFile]) -> bool:
        """Whether the pictures of these files are among them."""
        return all(file in self._by_file for file in files)

    @property
    def reduced(self) -> int:
        """How many files were reduced to codes for this build, not found in the cache."""
        return sum(len(unit.files) for unit, found in self._coded.items() if found.is_new)

    @property
    def described(self) -> list[Described]:
        """The pictures without their codes."""
        return [
            Described.of(place) if isinstance(place, CodedPicture) else self._coded[place[0]].pictures[place[1]]
            for place in self._places
        ]

    def views(self) -> dict[str, SourceView]:
        """Return the views of the pictures that have one, by name."""
        found = {}
        for place in self._places:
            if not isinstance(place, CodedPicture):
                unit, index = place
                view = self._read(unit, partial(CodedUnit.view, index=index))
                if view is not None:
                    found[self._coded[unit].pictures[index].origin.name] = view
        return found

    def __len__(self) -> int:
        """Return the number of pictures."""
        return len(self._places)

    @overload
    def __getitem__(self, index: int) -> CodedPicture: ...
    @overload
    def __getitem__(self, index: slice) -> list[CodedPicture]: ...
    def __getitem__(self, index: int | slice) -> CodedPicture | list[CodedPicture]:
        """Return a picture with its codes, or several."""
        if isinstance(index, slice):
            return [self._picture(place) for place in self._places[index]]
        return self._picture(self._places[index])

    def _picture(self, place: tuple[Unit, int] | CodedPicture) -> CodedPicture:
        if isinstance(place, CodedPicture):
            return place
        unit, index = place
        return self._read(unit, partial(CodedUnit.picture, index=index))

    def _read(self, unit: Unit, part: Callable[[CodedUnit], T]) -> T:
        """Read something of a unit, which is coded anew where the cache has lost it."""
        try:
            return part(self._coded[unit])
        except DamagedError:
            self._coded[unit] = self._again(unit)
            return part(self._coded[unit])
