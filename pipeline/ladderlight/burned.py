"""The record of what is in the chips, kept beside the recipe, and what must be burned again."""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board, Device
from ladderlight.checksums import checksums_of
from ladderlight.devicefiles import bytes_of
from ladderlight.errors import DeviceFileError, nearest_word

FILE = "burned.json"
"""Name of the record, beside the recipe."""
FORMAT = 1

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
    DeviceFileError
        When the board has no device of a name.
    """
    known = {device.name: device for device in board.devices}
    for name in devices:
        if name not in known:
            raise DeviceFileError(f"the board has no device {name!r}; {nearest_word(name, known)}")
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
