"""What headers state before a library opens the file: sizes that it would allocate memory for, cameras' raw formats."""

import struct
from collections.abc import Iterator
from mmap import ACCESS_READ, mmap
from typing import BinaryIO

from ladderlight_stages.sources.read.picture_files.limits import refuse_size

_CODESTREAM = b"\xff\x4f\xff\x51"
_PHOTOMETRIC, _SUB_IFDS, _MAKE, _DNG_VERSION = 262, 330, 271, 50706
_MOSAIC, _LINEAR_RAW = 32803, 34892  # TIFF/EP, ISO 12234-2; DNG 1.7, chapter 4
_BY_MAKE = {b"NIKON": "NEF", b"SONY": "ARW", b"PENTAX": "PEF"}
_TYPE_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 13: 4, 16: 8, 18: 8}
_RAW_FILE = "a camera's raw file"
_MOST_DIRECTORIES = 64  # directories that are read
Tags = dict[int, list[int] | bytes]


def refuse_stated(name: str, head: bytes, file: BinaryIO, *, depth: int) -> None:
    """Refuse a GIF, WebP, ICO or JPEG 2000 file with a frame that would take too much."""
    sizes = _READERS[name](head, file) if name in _READERS else []
    for width, height in sizes:
        refuse_size(width, height, depth=depth)
    file.seek(0)


def _gif(_: bytes, file: BinaryIO) -> list[tuple[int, int]]:
    """Return the furthest right and lowest edge of all frames (GIF89a, sections 18 and 20).

    Deviations from the format are skipped as in Pillow, so that no frame found there is missed here.
    """
    file.seek(6)
    width, height, flags = _numbers("<HHBxx", file.read(7).ljust(7, b"\0"))
    _skip_table(file, flags)
    frames = 0
    while (kind := file.read(1)) not in (b"", b";"):
        if kind == b"!":
            label, block = file.read(1), _block(file)
            if label == b"\xff" and not frames and block.startswith(b"NETSCAPE2.0"):
                _block(file)
            _skip_blocks(file)
        elif kind == b",":
            left, top, wide, high, flags = _numbers("<HHHHB", file.read(9).ljust(9, b"\0"))
            width, height, frames = max(width, left + wide), max(height, top + high), frames + 1
            _skip_table(file, flags)
            file.read(1)
            _skip_blocks(file)
    return [(width, height)]


def _numbers(form: str, data: bytes | mmap, at: int = 0) -> tuple[int, ...]:
    return struct.unpack_from(form, data, at)


def _block(file: BinaryIO) -> bytes:
    return file.read(int.from_bytes(file.read(1), "big"))


def _skip_blocks(file: BinaryIO) -> None:
    while _block(file):
        pass


def _skip_table(file: BinaryIO, flags: int) -> None:
    if flags & 0x80:
        file.seek(3 << (flags & 7) + 1, 1)


def _webp(head: bytes, _: BinaryIO) -> list[tuple[int, int]]:
    """Return the canvas (RFC 9649, sections 2.5 to 2.7)."""
    kind, data = head[12:16], head[20:30].ljust(10, b"\0")
    if kind == b"VP8X":
        return [(int.from_bytes(data[4:7], "little") + 1, int.from_bytes(data[7:10], "little") + 1)]
    if kind == b"VP8L":
        bits = int.from_bytes(data[1:5], "little")
        return [((bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1)]
    width, height = _numbers("<HH", data[6:10])
    return [(width & 0x3FFF, height & 0x3FFF)]


def _ico(head: bytes, file: BinaryIO) -> list[tuple[int, int]]:
    """Return the sizes of the pictures in an icon, which need not be those in its table."""
    (count,) = _numbers("<H", head[4:6])
    sizes = []
    for entry in range(min(count, (len(head) - 6) // 16)):
        (offset,) = _numbers("<I", head, 6 + 16 * entry + 12)
        file.seek(offset)
        start = file.read(24).ljust(24, b"\0")
        # A PNG's IHDR, or BITMAPINFOHEADER with its height twice: picture and mask.
        form = (">II", 16) if start.startswith(b"\x89PNG") else ("<Ii", 4)
        width, height = _numbers(form[0], start, form[1])
        sizes.append((width, abs(height)))
    return sizes


def _jpeg_2000(_: bytes, file: BinaryIO) -> list[tuple[int, int]]:
    """Return the sizes in codestreams, which are what is decoded (ISO/IEC 15444-1, annex A.5.1)."""
    sizes = []
    with mmap(file.fileno(), 0, access=ACCESS_READ) as data:
        start = data.find(_CODESTREAM)
        while 0 <= start <= len(data) - 24:
            right, lower, left, top = _numbers(">4I", data, start + 8)
            sizes.append((max(0, right - left), max(0, lower - top)))
            start = data.find(_CODESTREAM, start + 4)
    return sizes


_READERS = {"GIF": _gif, "WEBP": _webp, "ICO": _ico, "JPEG2000": _jpeg_2000}


def camera_raw(file: BinaryIO) -> str:
    """Return the raw format in a TIFF container in words, empty for an ordinary TIFF.

    Raises nothing: damage is reported where the file is read.
    """
    file.seek(0)
    head = file.read(16)
    if head[8:10] == b"CR":
        return _RAW_FILE + " (CR2)"
    order = "<" if head[:2] == b"II" else ">"
    big = head[2:4] in (b"+\0", b"\0+")
    try:
        (first,) = struct.unpack_from(order + ("Q" if big else "I"), head, 8 if big else 4)
        found = list(_directories(file, first, order, big=big))
    except (struct.error, OSError, OverflowError, ValueError):
        return ""
    if any(_DNG_VERSION in tags for tags in found):
        return _RAW_FILE + " (DNG)"
    if not any(value in (_MOSAIC, _LINEAR_RAW) for tags in found for value in tags.get(_PHOTOMETRIC, ())):
        return ""
    make = bytes(found[0].get(_MAKE, b"")).upper()
    return _RAW_FILE + next((f" ({name})" for word, name in _BY_MAKE.items() if make.startswith(word)), "")


def _directories(file: BinaryIO, first: int, order: str, *, big: bool) -> Iterator[Tags]:
    """Read the directories of a TIFF (TIFF 6.0, section 2) and those below them, each once."""
    wait, seen = [first], {0}
    while wait and len(seen) < _MOST_DIRECTORIES:
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
            if tag in (_PHOTOMETRIC, _SUB_IFDS, _MAKE, _DNG_VERSION) and kind in _TYPE_SIZES:
                tags[tag] = _values(file, kind, min(number, 64), value, order)
        yield tags
        wait += [below for below in tags.get(_SUB_IFDS, ()) if isinstance(below, int)]
        if len(following) == (8 if big else 4):
            wait += struct.unpack(order + ("Q" if big else "I"), following)


def _values(file: BinaryIO, kind: int, number: int, value: bytes, order: str) -> list[int] | bytes:
    size = _TYPE_SIZES[kind] * number
    if size > len(value):
        file.seek(struct.unpack(order + ("Q" if len(value) == 8 else "I"), value)[0])
        value = file.read(size)
    if kind in (1, 2):
        return value[:size]
    return list(struct.unpack(f"{order}{number}{ {2: 'H', 4: 'I', 8: 'Q'}[_TYPE_SIZES[kind]] }", value[:size]))
