"""Between words and device files: chips, images, checksums, the pieces that go into one file each, files read back."""

import hashlib
import re
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import product
from typing import Literal

import numpy as np

from ladderlight.board import Board, Device
from ladderlight.devices.documents import Checksums
from ladderlight.devices.formats import segments_of
from ladderlight.errors import DeviceFileError, nearest_word
from ladderlight.flow.pictures import ByteOrder, Contents, DeviceFile, Span
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Bytes, Ints, MemoryWords, Words, bytes_per_word, dtype_of
from ladderlight.units.words import address, counted

Split = Literal["none", "even_odd"]

ERASED = 0xFF
"""Every byte of an erased chip."""

_FIELD = re.compile(r"\{([^{}]*)\}")
_UNSAFE = re.compile(r"[^\w.+-]+")


def images_of(board: Board, words: MemoryWords) -> dict[str, bytes]:
    """Cut the image of each device out of the words of all memories, by name: low byte of each word first."""
    return {device.name: bytes_of(device.words(words), device.part.width) for device in board.devices}


def bytes_of(words: Words, width: int, order: ByteOrder = "little") -> bytes:
    """Return words of ``width`` bits as bytes, each in as few bytes as hold it, in this order."""
    size = bytes_per_word(width)
    kind = dtype_of(width).newbyteorder("<")
    planes = np.ascontiguousarray(words, dtype=kind).view(np.uint8).reshape(-1, kind.itemsize)[:, :size]
    return np.ascontiguousarray(planes if order == "little" else planes[:, ::-1]).tobytes()


def words_of(data: bytes | bytearray | Bytes, width: int, order: ByteOrder = "little") -> Words:
    """Return bytes as words of ``width`` bits: the inverse of :func:`bytes_of`. The upper spare bits are cut off."""
    size = bytes_per_word(width)
    planes = np.frombuffer(data, dtype=np.uint8).reshape(-1, size)
    kind = dtype_of(width)
    wide = np.zeros((len(planes), kind.itemsize), dtype=np.uint8)
    wide[:, :size] = planes if order == "little" else planes[:, ::-1]
    words = wide.view(kind.newbyteorder("<")).ravel().astype(kind, copy=False)
    words &= kind.type((1 << width) - 1)
    return words


class Piece(Frozen):
    """The part of a device that one file holds."""

    device: Device
    span: Span
    data: bytes
    label: str
    """``"even"``, ``"0"``, ``"odd-1"``: which piece it is, empty for a whole device."""

    @property
    def size(self) -> int:
        """Bytes that the file holds."""
        return len(range(self.span.first, self.device.part.bytes, self.span.step)[: self.span.count])

    @property
    def element(self) -> int:
        """Bytes of one element in formats that list words: those of a word, or 1 where the word is torn apart."""
        return bytes_per_word(self.device.part.width) if self.span.step == 1 else 1

    @property
    def elements(self) -> Words:
        """The piece as numbers of ``element`` bytes each."""
        return words_of(self.data, 8 * self.element, self.span.order)

    def file(self, pattern: str, data: bytes, *, offset: int = 0) -> DeviceFile:
        """Return the file of this piece; ``pattern`` is its name with fields, ``offset`` its first byte's address."""
        span = replace(self.span, offset=offset)
        return DeviceFile(device=self.device.name, name=self.file_name(pattern), data=data, span=span)

    def file_name(self, pattern: str) -> str:
        """Return its file's name. Raises DeviceFileError for an unknown field or a name that leaves the folder."""
        name = self.name(pattern)
        refuse_name(name)
        return name

    def name(self, pattern: str) -> str:
        """Return a name pattern with its fields filled in; a label without a field goes before the suffix."""
        if self.label and "{piece}" not in pattern:
            stem, dot, suffix = pattern.rpartition(".") if "." in pattern else (pattern, "", "")
            pattern = f"{stem}-{{piece}}{dot}{suffix}"
        values = {
            "device": self.device.name,
            "memory": self.device.memory,
            "part": self.device.part.number,
            "piece": self.label,
            "project": "{project}",
        }

        def fill(match: re.Match[str]) -> str:
            if match[1] not in values:
                what = f"file name {pattern!r} has an unknown field {match[0]!r}; {nearest_word(match[1], values)}"
                raise DeviceFileError(what)
            return values[match[1]]

        return _FIELD.sub(fill, pattern)


def pieces(
    contents: Contents, board: Board, *, order: ByteOrder = "little", split: Split = "none", size: int | None = None
) -> list[Piece]:
    """Return all devices cut into pieces of one file each.

    ``order`` is the byte order of words wider than 8 bits; ``split`` ``"even_odd"`` puts the even and the odd bytes of
    these into files of their own. ``size`` is the most bytes in one file, for programmers with a small buffer; files
    are cut at multiples of it. Raises DeviceFileError when it is not a whole number of words.
    """
    words = {name: memory.words for name, memory in contents.memories.items()}
    images = {device: bytes_of(device.words(words), device.part.width, order) for device in board.devices}
    planned = planned_pieces(board, order=order, split=split, size=size)
    return [replace(piece, data=span_bytes(images[piece.device], piece.span)) for piece in planned]


def planned_pieces(
    board: Board, *, order: ByteOrder = "little", split: Split = "none", size: int | None = None
) -> list[Piece]:
    """Return :func:`pieces` without data, before there are contents; raises as these do."""
    found = []
    for device in board.devices:
        width = bytes_per_word(device.part.width)
        step = width if split == "even_odd" else 1
        if size is not None and size % (width // step):
            what = f"files of {size:,} bytes would cut a word of device {device.name!r} in two"
            raise DeviceFileError(f"{what}; use a multiple of {width}")
        lane_bytes = device.part.bytes // step
        most = min(size or lane_bytes, lane_bytes)
        for lane, start in product(range(step), range(0, lane_bytes, most)):
            span = Span(first=lane + start * step, count=min(most, lane_bytes - start), step=step, order=order)
            lanes = [("even", "odd")[lane] if step == 2 else str(lane)] * (step > 1)
            label = "-".join([*lanes, *[str(start // most)] * (most < lane_bytes)])
            found.append(Piece(device=device, span=span, data=b"", label=label))
    return found


def span_bytes(image: bytes, span: Span) -> bytes:
    """Return the bytes of a span of a device's image."""
    return image[span.first :: span.step][: span.count]


def span_places(span: Span, device: Device) -> Ints:
    """Return the places of a file's bytes, in its order, in the device's image with the low byte of each word first."""
    places = np.arange(device.part.bytes, dtype=np.int64)[span.first :: span.step][: span.count]
    if span.order == "big":
        width = bytes_per_word(device.part.width)
        places = places // width * width + (width - 1 - places % width)
    return places


def _span_index(span: Span, device: Device) -> slice | Ints:
    """Return the same places as an index: a slice, which is faster, where they are in order."""
    if span.order == "big" and bytes_per_word(device.part.width) > 1:
        return span_places(span, device)
    stop = device.part.bytes if span.count is None else span.first + span.count * span.step
    return slice(span.first, stop, span.step)


def name_files(files: Iterable[DeviceFile], project: str) -> list[DeviceFile]:
    """Put the project's name into the file names, and check that each names a different file inside the folder.

    Raises DeviceFileError when two files have one name (also where only the case differs), or a name leaves the folder.
    """
    named: dict[str, DeviceFile] = {}
    word = _UNSAFE.sub("-", project).strip("-") or "project"
    for file in files:
        file = replace(file, name=file.name.replace("{project}", word))
        refuse_name(file.name)
        other = named.setdefault(file.name.casefold(), file)
        if other is not file:
            raise DeviceFileError(
                f"{other.name!r} for device {other.device!r} and {file.name!r} for {file.device!r} have one name; "
                "put {device} into the name or give one of the stages another suffix"
            )
    return list(named.values())


def join_files(files: Sequence[DeviceFile], device: Device) -> Words:
    """Return a device's words from all its files, in any of the formats.

    Addresses that a file leaves out read as in an erased chip. Raises DeviceFileError when a file is damaged or has a
    wrong size, when two files disagree about a word, or when together they do not cover the device.
    """
    width = bytes_per_word(device.part.width)
    spans = [(file, file.span) for file in files if file.span is not None]
    if len(spans) == 1 and _is_whole(spans[0][1], device):  # as most are: nothing to put together
        return words_of(_held_bytes(*spans[0], device, device.part.bytes), device.part.width)
    image = np.full(device.part.bytes, ERASED, dtype=np.uint8)
    owner = np.full(device.part.bytes, -1, dtype=np.min_scalar_type(-len(spans) - 1))
    for number, (file, span) in enumerate(spans):
        at = _span_index(span, device)
        had_owner = owner[at]
        held = np.frombuffer(_held_bytes(file, span, device, len(had_owner)), dtype=np.uint8)
        if had_owner.max(initial=-1) >= 0 and (differs := (had_owner >= 0) & (image[at] != held)).any():
            place = int(span_places(span, device)[differs].min())
            first = address(place // width, device.part.words)
            raise DeviceFileError(
                f"{spans[owner[place]][0].name} and {file.name} disagree about device {device.name!r} in "
                f"{counted(int(np.count_nonzero(differs)), 'byte')}, first at address {first}; build again"
            )
        image[at] = held
        owner[at] = number
    missing = int(np.count_nonzero(owner < 0))
    if missing:
        names = ", ".join(file.name for file, _ in spans)
        what = f"{missing:,} of {device.part.bytes:,} bytes of device {device.name!r} are in no file"
        raise DeviceFileError(
            f"{what}{f' of {names}' * bool(names)}; add a stage that writes the whole device, such as binary"
        )
    return words_of(image, device.part.width)


def _is_whole(span: Span, device: Device) -> bool:
    at = _span_index(span, device)
    return isinstance(at, slice) and at == slice(0, device.part.bytes, 1)


def _held_bytes(file: DeviceFile, span: Span, device: Device, size: int) -> bytes | bytearray:
    element = bytes_per_word(device.part.width) if span.step == 1 else 1
    segments = segments_of(file.name, file.data, size=size, element=element, order=span.order)
    if [(segment.address, len(segment.data)) for segment in segments] == [(span.offset, size)]:
        return segments[0].data
    held = bytearray([ERASED]) * size
    for segment in segments:
        start = segment.address - span.offset
        end = start + len(segment.data)
        if start < 0 or end > size:
            raise DeviceFileError(
                f"has bytes at {segment.address:X}h to {segment.address + len(segment.data) - 1:X}h, but device "
                f"{device.name!r} ({device.part.number}) takes {span.offset:X}h to {span.offset + size - 1:X}h; "
                "check that it is the file of this device",
                where=file.name,
            )
        held[start:end] = segment.data
    return held


def refuse_name(name: str) -> None:
    """Refuse a name, or a path with ``/``, that leaves its folder on some system."""
    parts = name.split("/")
    if "\\" in name or ":" in name or not name.isprintable() or any(part.strip() in ("", ".", "..") for part in parts):
        what = f"device file name {name!r} leaves its folder or is not portable; use one such as picture.bin"
        raise DeviceFileError(what)


def checksums_of(data: bytes) -> Checksums:
    """Return the checksums of some bytes as upper-case hexadecimal text, and their SHA-256 in lower case.

    ``crc32`` is CRC-32/ISO-HDLC; ``sum8``, ``sum16`` and ``sum32`` are the sum of all bytes, cut to so many bits.
    """
    total = int(np.frombuffer(data, dtype=np.uint8).sum(dtype=np.uint64))
    return {
        "crc32": f"{zlib.crc32(data):08X}",
        "sum8": f"{total & 0xFF:02X}",
        "sum16": f"{total & 0xFFFF:04X}",
        "sum32": f"{total & 0xFFFFFFFF:08X}",
        "sha256": hashlib.sha256(data).hexdigest(),
    }
