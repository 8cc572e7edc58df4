"""The sizes in files' headers, checked before a library opens the file and allocates memory for them."""

import struct
from mmap import ACCESS_READ, mmap
from typing import BinaryIO

from ladderlight_stages.sources.read.picture_files.limits import refuse_size

_CODESTREAM = b"\xff\x4f\xff\x51"


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
