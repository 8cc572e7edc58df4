"""What was read of each device, put together from its dumps."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board, Device
from ladderlight.devices.files import ERASED, words_of
from ladderlight.errors import UsageError
from ladderlight.readback.dumps import Held
from ladderlight.readback.sections import Section, covered_by, image_of, mask_of
from ladderlight.units.arrays import Bytes, Flags, Words


@dataclass(frozen=True, kw_only=True, eq=False)
class Reading:
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
        """The words: uint32, shape (words of the part,)."""
        return words_of(self.image.tobytes(), self.device.part.width)

    @property
    def mask(self) -> Words:
        """The bits of each word that were read."""
        return mask_of(self.device, self.read)

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


def as_read(should: Words, found: Words, reading: Reading | None) -> Words:
    """Return what was found, with what should be there in the place of bits that were not read."""
    return found if reading is None else (found & reading.mask) | (should & ~reading.mask)


def readings_of(found: Iterable[Held], sections: Sequence[Section]) -> list[Reading]:
    """Put together what was read of each device, in the order of the sections. Bytes that a dump leaves out are erased.

    Raises UsageError when two dumps of the same bytes disagree.
    """
    by_device: dict[str, list[Held]] = {}
    for held in found:
        by_device.setdefault(held.section.device.name, []).append(held)
    devices = {section.device.name: section.device for section in sections}
    return [
        _reading(device, by_device[name], [section for section in sections if section.device == device])
        for name, device in devices.items()
        if name in by_device
    ]


def memories_of_readings(board: Board, readings: Sequence[Reading]) -> dict[str, NDArray[np.uint32]]:
    """Put the memories' words together.

    Raises UsageError when part of a device was not read.
    """
    words = {reading.device.name: reading.words for reading in readings}
    missing = []
    for device in board.devices:
        reading = next((reading for reading in readings if reading.device == device), None)
        if reading is None:
            missing.append(f"device {device.name!r} ({device.part.bytes:,} bytes)")
        elif not reading.complete:
            parts = ", ".join(section.name for section in reading.unread)
            missing.append(f"{parts or 'a part'} of device {device.name!r} ({reading.unread_bytes:,} bytes)")
    if missing:
        raise UsageError(
            f"no dump holds {', '.join(missing)}; a picture needs all of every device, so add what is left"
        )
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
