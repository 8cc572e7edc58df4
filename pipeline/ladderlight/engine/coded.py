"""Coded pictures as they wait to be arranged: their codes in the cache, the rest of them in memory."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import overload

import numpy as np

from ladderlight.cache.entries import DamagedError, Entry
from ladderlight.engine.coherence import Codes
from ladderlight.engine.entries import Described, array_of, described
from ladderlight.engine.plan import Unit
from ladderlight.flow.pictures import CodedPicture
from ladderlight.recipe import PictureFile


@dataclass(frozen=True, kw_only=True)
class CodedUnit:
    """The coded pictures of a unit, one after another, without their codes."""

    pictures: tuple[Described, ...]
    counts: tuple[int, ...]
    """How many pictures each file of the unit has."""
    entry: Entry | None = None
    """Where the codes are kept; None when they are in memory."""
    codes: tuple[Codes, ...] = ()

    @classmethod
    def of(cls, entry: Entry) -> CodedUnit:
        """Return what an entry holds.

        Raises
        ------
        DamagedError
            When that is something else.
        """
        try:
            found = tuple(described(each) for each in entry.about["pictures"])
            return cls(pictures=found, counts=tuple(entry.about["counts"]), entry=entry)
        except (KeyError, TypeError) as error:
            raise DamagedError(str(error)) from error

    def picture(self, index: int) -> CodedPicture:
        """Return a picture with its codes.

        Raises
        ------
        DamagedError
            When they are no longer there.
        """
        codes = self.codes[index] if self.entry is None else array_of(self.entry, index, np.uint16)
        return self.pictures[index].with_codes(codes)


class CodedPictures(Sequence[CodedPicture]):
    """The coded pictures of some files, in the order of the files. Codes are read whenever a picture is asked for."""

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
        self._coded, self._files, self._again = dict(coded), files, again
        self._by_file = places = dict[PictureFile, list[tuple[Unit, int]]]()
        for unit, found in coded.items():
            indices = iter(range(len(found.pictures)))
            for file, count in zip(unit.files, found.counts, strict=True):
                places[file] = [(unit, next(indices)) for _ in range(count)]
        self._places: list[tuple[Unit, int] | CodedPicture] = [
            *(place for file in files for place in places.get(file, ())),
            *cards,
        ]

    def with_cards(self, cards: Sequence[CodedPicture]) -> CodedPictures:
        """Return the same pictures with test cards after them."""
        return CodedPictures(self._coded, self._files, self._again, cards)

    def of_files(self, files: Sequence[PictureFile]) -> CodedPictures:
        """Return the pictures of some of the files, which are all those of their units."""
        units = {unit: self._coded[unit] for file in files for unit, _ in self._by_file[file]}
        return CodedPictures(units, files, self._again)

    @property
    def described(self) -> list[Described]:
        """The pictures without their codes."""
        return [
            Described.of(place) if isinstance(place, CodedPicture) else self._coded[place[0]].pictures[place[1]]
            for place in self._places
        ]

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
        try:
            return self._coded[unit].picture(index)
        except DamagedError:
            self._coded[unit] = self._again(unit)
            return self._coded[unit].picture(index)
