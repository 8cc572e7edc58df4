"""Camera raw files that are TIFF containers; read as a TIFF, such a file would show its thumbnail."""

import struct
from collections.abc import Iterator
from typing import BinaryIO

_PHOTOMETRIC, _SUB_IFDS, _MAKE, _DNG_VERSION = 262, 330, 271, 50706
_MOSAIC, _LINEAR_RAW = 32803, 34892  # TIFF/EP, ISO 12234-2; DNG 1.7, chapter 4
_BY_MAKE = {b"NIKON": "NEF", b"SONY": "ARW", b"PENTAX": "PEF"}
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 13: 4, 16: 8, 18: 8}
_WORDS = "a camera's raw file"
_MOST = 64
"""Directories that are read."""

Tags = dict[int, list[int] | bytes]


def camera_raw(file: BinaryIO) -> str:
    """Return the raw format in a TIFF container in words, empty for an ordinary TIFF.

    Raises nothing: damage is reported where the file is read.
    """
    file.seek(0)
    head = file.read(16)
    if head[8:10] == b"CR":
        return _WORDS + " (CR2)"
    order = "<" if head[:2] == b"II" else ">"
    big = head[2:4] in (b"+\0", b"\0+")
    try:
        (first,) = struct.unpack_from(order + ("Q" if big else "I"), head, 8 if big else 4)
        found = list(_directories(file, first, order, big=big))
    except (struct.error, OSError, OverflowError, ValueError):
        return ""
    if any(_DNG_VERSION in tags for tags in found):
        return _WORDS + " (DNG)"
    if not any(value in (_MOSAIC, _LINEAR_RAW) for tags in found for value in tags.get(_PHOTOMETRIC, ())):
        return ""
    make = bytes(found[0].get(_MAKE, b"")).upper()
    return _WORDS + next((f" ({name})" for word, name in _BY_MAKE.items() if make.startswith(word)), "")


def _directories(file: BinaryIO, first: int, order: str, *, big: bool) -> Iterator[Tags]:
    """Read the directories of a TIFF (TIFF 6.0, section 2) and those below them, each once."""
    wait, seen = [first], {0}
    while wait and len(seen) < _MOST:
        at = wait.pop(0)
        if at in seen:
            continue
        seen.add(at)
        file.seek(at)
        form, entry = ("Q", "HHQ8s") if big else ("H", "HHI4s")
        (count,) = struct.unpack(order + form, file.read(struct.calcsize(form)))
        size = struct.calcsize(order + entry)
        table = file.read(min(count, 4096) * size)
        following = file.read(8 if big else 4)
        tags: Tags = {}
        for start in range(0, len(table) - size + 1, size):
            tag, kind, number, value = struct.unpack_from(order + entry, table, start)
            if tag in (_PHOTOMETRIC, _SUB_IFDS, _MAKE, _DNG_VERSION) and kind in _SIZES:
                tags[tag] = _values(file, kind, min(number, 64), value, order)
        yield tags
        wait += [below for below in tags.get(_SUB_IFDS, ()) if isinstance(below, int)]
        if len(following) == (8 if big else 4):
            wait += struct.unpack(order + ("Q" if big else "I"), following)


def _values(file: BinaryIO, kind: int, number: int, value: bytes, order: str) -> list[int] | bytes:
    size = _SIZES[kind] * number
    if size > len(value):
        file.seek(struct.unpack(order + ("Q" if len(value) == 8 else "I"), value)[0])
        value = file.read(size)
    if kind in (1, 2):
        return value[:size]
    return list(struct.unpack(f"{order}{number}{ {2: 'H', 4: 'I', 8: 'Q'}[_SIZES[kind]] }", value[:size]))
