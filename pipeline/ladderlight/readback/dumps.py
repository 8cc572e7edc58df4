"""Files that were read out of chips, whatever format they have, and what was read of each device by them."""

import stat
from collections.abc import Sequence
from dataclasses import field
from functools import cache, cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board, Device
from ladderlight.devices.files import ERASED, words_of
from ladderlight.devices.formats import Format, format_of, likely_damage, segments_of
from ladderlight.errors import DeviceFileError, UsageError
from ladderlight.readback.sections import Section, covered_by, image_of, mask_of
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Bytes, Flags, Ints, Words, bytes_per_word
from ladderlight.units.words import counted, joined

_ELEMENTS: tuple[Format, ...] = ("verilog_mem", "c_array")
_MOST_LETTERS = 16
"""Letters that any of the text formats takes for a byte, records and comments included; most take two to six."""
_MOST_MORE = 1 << 20
_NO_FILES = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a named pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device of the system"),
    (stat.S_ISBLK, "a device of the system"),
)
_FARTHEST = 1 << 24
"""Addresses from here on, past the 24 bits of an S2 record, are no place for a dump that holds a part of a device."""
_segments_of = cache(segments_of)
_ADDRESSED: tuple[Format, ...] = ("intel_hex", "s_record", "verilog_mem")


class Dump(Frozen, eq=False):
    """A file that was read out of a chip."""

    name: str
    data: bytes = field(repr=False)

    @cached_property
    def format(self) -> Format:
        """Its format, told by its content."""
        return format_of(self.data)

    def addressed(self, section: Section) -> tuple[Bytes, Ints]:
        """Return its bytes as a section's, each with its address, from 0 without any. UsageError for a damaged one."""
        element = 1 if section.torn else bytes_per_word(section.device.part.width)
        try:
            segments = _segments_of(self.name, self.data, element=element, order=section.span.order)
        except DeviceFileError as error:
            raise UsageError.of(error.faults) from error
        stretches = [np.arange(len(segment.data)) + segment.address for segment in segments if segment.data]
        addresses = np.concatenate(stretches) if stretches else np.zeros(0, dtype=np.int64)
        return np.frombuffer(b"".join(segment.data for segment in segments), dtype=np.uint8), addresses


class Held(Frozen, eq=False):
    """A dump as it fits a section: byte ``data[i]`` stands at ``at[i]`` of the section. ``base`` is the address in the
    dump of the section's first byte; ``note`` what was wrong with the programmer's setting, in words."""

    dump: Dump
    section: Section
    base: int
    at: Ints
    data: Bytes
    note: str = ""

    @property
    def left_out(self) -> int:
        """How many of the section's bytes the dump does not give."""
        return self.section.size - len(self.at)


def read_dumps(paths: Sequence[Path], sections: Sequence[Section]) -> list[Dump]:
    """Read files that came out of chips, none too large for any section. Raises UsageError when one cannot be read."""
    largest = max(section.device.part.bytes for section in sections)
    return [Dump(name=str(path), data=_read(path, largest)) for path in paths]


def _read(path: Path, largest: int) -> bytes:
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):  # a pipe would wait, and some devices never end
            kind = next((word for is_kind, word in _NO_FILES if is_kind(status.st_mode)), "not a regular file")
            raise UsageError(f"is {kind}; name the file that a programmer saved", where=path)
        if status.st_size > largest * _MOST_LETTERS + _MOST_MORE:
            raise UsageError(
                f"has {status.st_size:,} bytes, too many for a dump of a device of {largest:,}; "
                "check that it is of this board",
                where=path,
            )
        return path.read_bytes()
    except OSError as error:
        raise UsageError(f"cannot be read ({error.strerror}); check the name", where=path) from error


def fit(dump: Dump, section: Section) -> Held | None:
    """Lay a dump over a section, or give None when it does not fit.

    A format without addresses must have exactly the section's size. One with addresses may begin at the address that
    the build's files give, at 0, at the section's place in its device, at any other address if it holds all of the
    section, or else at a multiple of the section's size below 16 MiB. Raises UsageError when the dump is damaged.
    """
    try:
        data, addresses = dump.addressed(section)
    except UsageError:
        if dump.format in _ELEMENTS and section.torn:  # whole words are no bytes
            return None
        raise
    if dump.format in _ADDRESSED:
        base = _base(addresses, section, dump.name)
    else:
        base = 0 if len(data) == section.size else None
    return None if base is None else Held(dump=dump, section=section, base=base, at=addresses - base, data=data)


def misfit(dump: Dump, sections: Sequence[Section]) -> UsageError:
    """Return the error of a dump that fits none of some sections: what it holds, and what it must hold."""
    takers: dict[str, list[str]] = {}
    for device in dict.fromkeys(section.device for section in sections):
        sizes = _sizes([section for section in sections if section.device == device])
        takers.setdefault(sizes, []).append(f"{device.name!r} ({device.part.number})")
    wanted = "; ".join(
        f"device {names[0]} takes {sizes}" if len(names) == 1 else f"devices {', '.join(names)} take {sizes} each"
        for sizes, names in takers.items()
    )
    data, addresses = dump.addressed(sections[0])
    if dump.format in _ADDRESSED:
        first, last = int(addresses.min()), int(addresses.max())
        size = last + 1 - first
        if first >= _FARTHEST and all(size < section.size for section in sections):
            return UsageError(
                f"begins at {first:X}h, beyond 16 MiB, and holds only {size:,} of a device's bytes; "
                "save all of the chip from address 0",
                where=dump.name,
            )
        return UsageError(
            f"has bytes at {first:X}h to {last:X}h, which are {size:,}, but {wanted}; "
            "check that it is of this board, and from which address it was saved",
            where=dump.name,
        )
    damage = likely_damage(dump.data) if dump.format == "binary" else ""
    action = damage or "check that it is of this board"
    return UsageError(f"holds {counted(len(data), 'byte')}, but {wanted}; {action}", where=dump.name)


def _sizes(sections: Sequence[Section]) -> str:
    sizes: dict[int, list[Section]] = {}
    for section in sorted(sections, key=lambda section: -section.size):
        sizes.setdefault(section.size, []).append(section)
    texts = []
    for size, same in sizes.items():
        names = [section.name for section in same[:3] if not section.whole] + ["..."] * (len(same) > 3)
        texts.append(f"{size:,} ({', '.join(names or ['all of it'])})" if len(sizes) > 1 else f"{size:,}")
    return joined(texts, "or")


def _base(addresses: Ints, section: Section, name: str) -> int | None:
    if not addresses.size:
        return 0
    first, end = int(addresses.min()), int(addresses.max()) + 1
    if end - first > section.size:
        return None
    likely = [*section.offsets_for(name), 0]
    if not section.torn:
        likely += [section.span.first]
    if end - first == section.size:
        likely += [first]
    elif first < _FARTHEST:
        likely += [first // section.size * section.size]
    return next((base for base in likely if base <= first and end <= base + section.size), None)


class Reading(Frozen, eq=False):
    """What was read of a device, put together from its dumps: which of its ``sections``, and the bytes of its image.

    ``image`` is uint8, low byte of each word first; places that were not read hold FFh. ``sections`` are all that a
    dump of the device may be of. ``left_out`` marks the bytes of the image that a dump lacks, which count as erased;
    None where it lacks none.
    """

    device: Device
    image: Bytes
    read: tuple[Section, ...]
    sections: tuple[Section, ...] = ()
    left_out: Flags | None = None

    @property
    def words(self) -> Words:
        """The words, shape (words of the part,)."""
        return words_of(self.image.tobytes(), self.device.part.width)

    @property
    def mask(self) -> Words:
        """The bits of each word that were read."""
        return mask_of(self.device, self.read)

    def over(self, should: Words) -> Words:
        """Return the words that were read, with what should be there in the place of bits that were not."""
        return (self.words & self.mask) | (should & ~self.mask)

    @property
    def mostly_left_out(self) -> Flags | None:
        """Words with a byte that a dump lacks, where its dumps lack more than half of what they hold; else None."""
        if self.left_out is None or 2 * self.left_out.sum() <= covered_by(self.device, self.read).sum():
            return None
        return np.asarray(self.left_out.reshape(self.device.part.words, -1).any(axis=1))

    @property
    def complete(self) -> bool:
        """Whether all of the device was read."""
        return not self.unread_bytes

    @property
    def unread_bytes(self) -> int:
        """How many bytes of the device were not read."""
        return int(np.count_nonzero(~covered_by(self.device, self.read)))

    @property
    def unread(self) -> tuple[Section, ...]:
        """What was not read, in the sections that a dump may be of; it may fall short where dumps overlap."""
        covered = covered_by(self.device, self.read)
        missing = []
        for section in sorted(self.sections, key=lambda section: not section.files):
            if not section.whole and not covered[section.places].any():
                covered[section.places] = True
                missing.append(section)
        return tuple(sorted(missing, key=lambda section: section.span.first))


def readings_of(found: Sequence[Held], sections: Sequence[Section]) -> list[Reading]:
    """Put together what was read of each device, in the sections' order. Raises UsageError when two dumps disagree."""
    return [
        _reading(device, own, [section for section in sections if section.device == device])
        for device in dict.fromkeys(section.device for section in sections)
        if (own := [held for held in found if held.section.device == device])
    ]


def memories_of_readings(board: Board, readings: Sequence[Reading]) -> dict[str, NDArray[np.uint32]]:
    """Put the memories' words together. Raises UsageError when part of a device was not read."""
    found = {reading.device.name: reading for reading in readings}
    missing = []
    for device in board.devices:
        reading = found.get(device.name)
        if reading is None:
            missing.append(f"device {device.name!r} ({device.part.bytes:,} bytes)")
        elif not reading.complete:
            parts = ", ".join(section.name for section in reading.unread)
            missing.append(f"{parts or 'a part'} of device {device.name!r} ({reading.unread_bytes:,} bytes)")
    if missing:
        what = f"no dump holds {', '.join(missing)}; a picture needs all of every device, so add what is left"
        raise UsageError(what)
    words = {name: reading.words for name, reading in found.items()}
    return {memory.name: np.concatenate([words[device.name] for device in memory.devices]) for memory in board.memories}


def _reading(device: Device, found: Sequence[Held], sections: Sequence[Section]) -> Reading:
    image = np.full(device.part.bytes, ERASED, dtype=np.uint8)
    owner = np.full(device.part.bytes, -1, dtype=np.int64)
    left_out = np.zeros(device.part.bytes, dtype=np.bool_)
    full = image_of(np.array([(1 << device.part.width) - 1], dtype=np.uint32), device)  # spare bits do not count
    for number, held in enumerate(found):
        whole = np.full(held.section.size, ERASED, dtype=np.uint8)
        whole[held.at] = held.data
        places = held.section.places
        differs = (owner[places] >= 0) & (((image[places] ^ whole) & full[places % len(full)]) != 0)
        if differs.any():
            other = found[owner[places[differs.argmax()]]]
            raise UsageError(
                f"{other.dump.name} and {held.dump.name} are both of device {device.name!r}, {held.section.name}, and "
                f"differ from each other in {int(differs.sum()):,} bytes; give them one at a time"
            )
        image[places] = whole
        owner[places] = number
        left_out[np.delete(places, held.at)] = True
    read = tuple(dict.fromkeys(held.section for held in found))
    return Reading(device=device, image=image, read=read, sections=tuple(sections), left_out=left_out)
