"""What one dump may hold of a device: the whole of it, what one file of a build holds, or its even or odd bytes."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import PurePath

import numpy as np

from ladderlight.board import Board, Device
from ladderlight.devices.files import bytes_of, planned_pieces, span_places, words_of
from ladderlight.flow.pictures import ByteOrder, DeviceFile, Span
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Bytes, Flags, Ints, Words, bytes_per_word


class Section(Frozen, eq=False):
    """A part of a device's image that one dump may hold. Two of one device with the same span are the same."""

    device: Device
    span: Span
    files: tuple[str, ...] = ()
    """The device files that hold just this."""
    offsets: tuple[int, ...] = ()
    """The address that each of these files gives to its first byte."""

    @cached_property
    def places(self) -> Ints:
        """Places in the device's image, low byte of each word first, in the order of the dump."""
        return span_places(self.span, self.device)

    @property
    def size(self) -> int:
        """Bytes of a dump."""
        return len(self.places)

    @property
    def whole(self) -> bool:
        """Whether it is all of the device."""
        return self.size == self.device.part.bytes

    @property
    def torn(self) -> bool:
        """Whether it holds single bytes of wider words."""
        return self.span.step > 1

    @property
    def label(self) -> str:
        """What it is of the device, in words."""
        if self.whole:
            return "all of it"
        last = self.span.first + (self.size - 1) * self.span.step
        between = f"{self.span.first:X}h to {last:X}h"
        if not self.torn:
            return f"bytes {between}"
        return self.lane if self.size * self.span.step == self.device.part.bytes else f"{self.lane} from {between}"

    @property
    def lane(self) -> str:
        """Which bytes of wider words it holds, in words; empty where it holds all of them."""
        if not self.torn:
            return ""
        lane = self.span.first % self.span.step
        return ("the even bytes", "the odd bytes")[lane] if self.span.step == 2 else f"byte {lane} of each word"

    def offsets_for(self, dump: str) -> list[int]:
        """Return the first byte's addresses: as in the file of a dump's name, in those of its suffix, in others."""
        path = PurePath(dump)
        ranked = sorted(
            zip(self.files, self.offsets, strict=True),
            key=lambda held: (held[0] != path.name, PurePath(held[0]).suffix != path.suffix),
        )
        return list(dict.fromkeys(offset for _, offset in ranked))

    @property
    def name(self) -> str:
        """The file that holds it, or what it is in words where none does."""
        return self.files[0] if self.files else self.label


def sections_of(board: Board, files: Sequence[DeviceFile], order: ByteOrder | None = None) -> list[Section]:
    """Return all sections that a dump of a board's chips may be of.

    For each device these are the whole of it in every byte order of its files, what each file of its build holds that
    is less, and the even and the odd bytes of wide words. ``order`` of these is that of the files when not given.
    """
    found = []
    for device in board.devices:
        spans = [(file.name, file.span) for file in files if file.device == device.name and file.span is not None]
        orders: list[ByteOrder] = [order] if order else list(dict.fromkeys(span.order for _, span in spans))
        grouped: dict[Span, dict[str, int]] = {_plain(Span(order=each), device): {} for each in orders or ["little"]}
        for name, span in spans:
            turned = replace(span, order=order or span.order)
            grouped.setdefault(_plain(turned, device), {})[name] = span.offset
        if bytes_per_word(device.part.width) > 1:
            planned = planned_pieces(board, order=(orders or ["little"])[0], split="even_odd")
            grouped |= {piece.span: {} for piece in planned if piece.device == device and piece.span not in grouped}
        found += [
            Section(device=device, span=span, files=tuple(held), offsets=tuple(held.values()))
            for span, held in grouped.items()
        ]
    return found


def named_after(sections: Sequence[Section]) -> dict[str, list[Section]]:
    """Return the sections that each file stem names: those of a device by its name, that of a file by the file's."""
    stems, devices = defaultdict[str, list[Section]](list), defaultdict[str, list[Section]](list)
    for section in sections:
        devices[section.device.name].append(section)
        for stem in {PurePath(file).stem for file in section.files}:
            stems[stem].append(section)
    return {stem: own for stem, own in stems.items() if len({section.device for section in own}) == 1} | devices


def mask_of(device: Device, sections: Iterable[Section]) -> Words:
    """Return the bits of each word that some sections of a device hold."""
    image = np.where(covered_by(device, sections), np.uint8(0xFF), np.uint8(0))
    return words_of(image.tobytes(), device.part.width)


def covered_by(device: Device, sections: Iterable[Section]) -> Flags:
    """Mark the places of a device's image that some sections hold."""
    covered = np.zeros(device.part.bytes, dtype=np.bool_)
    for section in sections:
        covered[section.places] = True
    return covered


def image_of(words: Words, device: Device) -> Bytes:
    """Return a device's words as bytes, low byte of each word first."""
    return np.frombuffer(bytes_of(words, device.part.width), dtype=np.uint8)


def _plain(span: Span, device: Device) -> Span:
    """Leave out what does not tell which bytes a file holds, so that equal ones are equal."""
    count = len(range(span.first, device.part.bytes, span.step)[: span.count])
    order: ByteOrder = span.order if bytes_per_word(device.part.width) > 1 else "little"
    return Span(first=span.first, count=count, step=span.step, order=order)
