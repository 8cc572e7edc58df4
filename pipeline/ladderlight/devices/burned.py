"""The record of what is in the chips, kept beside the recipe, and what must be burned again."""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board, Device
from ladderlight.board.memory import Erasure
from ladderlight.devices.checksums import checksums_of
from ladderlight.devices.files import bytes_of
from ladderlight.errors import DeviceFileError, UsageError, nearest_word

FILE = "burned.json"
"""Name of the record, beside the recipe."""
FORMAT = 1
_MOST_RUNS = 12

Record = Mapping[str, Any]
Words = Mapping[str, NDArray[np.uint32]]


def device_image(words: Words, device: Device) -> bytes:
    """Cut a device's image, low bytes first, out of the words of all memories."""
    held = words[device.memory][device.first_word : device.first_word + device.part.words]
    return bytes_of(held, device.part.width)


def record(
    board: Board, words: Words, devices: tuple[str, ...] = (), *, before: Record | None = None
) -> dict[str, Any]:
    """Note that devices (all of them when none is named) now hold these words; what was noted of others stays.

    Raises
    ------
    UsageError
        When the board has no device of a name.
    """
    known = {device.name: device for device in board.devices}
    for name in devices:
        if name not in known:
            raise UsageError(f"the board has no device {name!r}; {nearest_word(name, known)}")
    noted = dict((before or {}).get("devices", {}))
    for name in devices or tuple(known):
        image = device_image(words, known[name])
        sums = checksums_of(image)
        noted[name] = {
            "part": known[name].part.number,
            "bytes": len(image),
            "crc32": sums["crc32"],
            "sum16": sums["sum16"],
            "sha256": sums["sha256"],
            "image": base64.b64encode(zlib.compress(image, 9)).decode("ascii"),
        }
    return {"format": FORMAT, "devices": dict(sorted(noted.items()))}


def parse_record(name: str, text: str) -> Record:
    """Read a record's text.

    Raises
    ------
    DeviceFileError
        When it is not one.
    """
    try:
        found = json.loads(text)
    except ValueError as error:
        raise DeviceFileError(f"{name}: not JSON ({error}); delete it and record the chips again") from None
    if not isinstance(found, dict) or found.get("format") != FORMAT or not isinstance(found.get("devices"), dict):
        raise DeviceFileError(
            f"{name}: not a record of burned chips of format {FORMAT}; delete it and record them again"
        )
    return found


def burned_image(noted: Record | None, device: Device) -> bytes | None:
    """Give the image that a device holds according to the record, or None when nothing is noted of such a chip.

    Raises
    ------
    DeviceFileError
        When the record is damaged.
    """
    entry = (noted or {}).get("devices", {}).get(device.name)
    if entry is None or entry.get("part") != device.part.number or entry.get("bytes") != device.part.bytes:
        return None
    try:
        image = zlib.decompress(base64.b64decode(entry["image"], validate=True))
    except (KeyError, TypeError, ValueError, zlib.error):
        image = b""
    if checksums_of(image)["sha256"] != entry.get("sha256") or len(image) != device.part.bytes:
        raise DeviceFileError(f"what is noted of device {device.name!r} is damaged; record it again")
    return image


@dataclass(frozen=True, kw_only=True)
class Burn:
    """Whether a device must be burned, and how much of it. Addresses count the bytes of its image.

    ``known`` tells whether anything is noted of what it holds; ``blank`` that it should hold nothing but FFh, as a new
    or erased chip does. ``differing`` bytes are not as they should be.
    ``eraser`` tells for a chip that light erases whether bits must be set again; None where that is no question.
    ``blocks`` are the first and last byte of each run of pages or sectors that differ, None where a part has none.
    """

    known: bool
    blank: bool
    differing: int
    erasure: Erasure
    eraser: bool | None
    block: int
    blocks: tuple[tuple[int, int], ...] | None

    @property
    def needed(self) -> bool:
        """Whether the device must be burned."""
        return self.differing > 0 if self.known else not self.blank

    @property
    def block_count(self) -> int:
        """How many pages or sectors differ."""
        return sum((last + 1 - first) // self.block for first, last in self.blocks or ())

    @property
    def text(self) -> str:
        """The same in words."""
        if not self.known and self.blank:
            return "all FFh: a new or erased chip holds this already"
        if not self.known:
            return "nothing is noted of what this chip holds: burn it"
        if not self.needed:
            return "holds this already"
        amount = f"{self.differing} byte{'s' * (self.differing != 1)} differ{'s' * (self.differing == 1)}"
        if self.eraser is not None:
            return amount + (
                ": erase it, then burn it" if self.eraser else ", and only clear bits: burn it, no erasing"
            )
        if self.blocks is not None and self.block > 1:
            name = ("sector" if self.erasure == "sectors" else "page") + "s" * (self.block_count != 1)
            where = ", ".join(f"{first:04X}h to {last:04X}h" for first, last in self.blocks[:_MOST_RUNS])
            more = ", and more" * (len(self.blocks) > _MOST_RUNS)
            return f"{amount}, in {self.block_count} {name} at {where}{more}"
        return f"{amount}: burn it"


def burn_of(noted: Record | None, device: Device, image: bytes) -> Burn:
    """Compare what a device should hold with what is noted of it.

    Programming clears bits, and only erasing sets them: a chip that light erases can take a change that only clears
    bits as it is. Byte-erasable and flash parts are written by pages and sectors.

    Raises
    ------
    DeviceFileError
        When the record is damaged.
    """
    old = burned_image(noted, device)
    before = np.frombuffer(old if old is not None else image, dtype=np.uint8)
    after = np.frombuffer(image, dtype=np.uint8)
    differs = before != after
    erasure, block = device.part.erasure, device.part.block
    eraser = None
    if old is not None and erasure == "ultraviolet" and differs.any():
        eraser = bool((after & ~before).any())
    blocks = None
    if old is not None and erasure in ("bytes", "sectors"):
        blocks = runs(np.unique(np.flatnonzero(differs) // block), block)
    return Burn(
        known=old is not None,
        blank=bool((after == 0xFF).all()),
        differing=int(differs.sum()),
        erasure=erasure,
        eraser=eraser,
        block=block,
        blocks=blocks,
    )


def runs(numbers: NDArray[np.integer], size: int = 1) -> tuple[tuple[int, int], ...]:
    """Join ascending block numbers into runs: the first and the last address of each, for blocks of ``size``."""
    if not numbers.size:
        return ()
    breaks = np.flatnonzero(np.diff(numbers) > 1)
    firsts = numbers[np.concatenate([[0], breaks + 1])]
    lasts = numbers[np.concatenate([breaks, [numbers.size - 1]])]
    return tuple((int(first) * size, (int(last) + 1) * size - 1) for first, last in zip(firsts, lasts, strict=True))
