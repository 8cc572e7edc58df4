"""Netpbm files beyond 8 bits: PGM and PPM, plain and binary, of more than 255, and PFM of floats.

After Netpbm's manuals: pgm(5), ppm(5) and pfm(5). Samples of a PFM are linear light with white at 1; its rows go from
the bottom up, and the scale in its header is only the unit of measurement.
"""

import re
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from ladderlight import Frozen
from ladderlight_stages.sources.read.picture_files.opening import named, reading

_HEADER = re.compile(rb"(P[2356fF])" + rb"(?:\s|#[^\r\n]*[\r\n])+([^\s#]+)" * 3 + rb"(?:#[^\r\n]*[\r\n]|\s)")
_BLOCK = 1 << 20


class Raster(Frozen):
    """The header of a file read here: ``white`` is its greatest sample, 0 for floats."""

    width: int
    height: int
    channels: int
    white: int
    plain: bool
    form: str
    """Of a binary sample, in numpy's notation."""
    start: int
    """Offset of the samples in the file."""

    @property
    def depth(self) -> int:
        """Bytes that a pixel takes while it is decoded."""
        return self.channels * (2 if self.white else 4)


def raster_of(head: bytes) -> Raster | None:
    """Read the header of a Netpbm file of more than 8 bits, from its first bytes; None for any other file.

    Raises PictureError when the header is broken.
    """
    found = _HEADER.match(head)
    if found is None:
        return None
    with named("PPM"):
        kind, (width, height) = found[1], map(int, found.group(2, 3))
        floats = kind in (b"Pf", b"PF")
        white, scale = (0, float(found[4])) if floats else (int(found[4]), 1.0)
        if min(width, height) < 1 or white > 65535 or not np.isfinite(scale) or scale == 0:
            raise ValueError(found[0])
    if not floats and white < 256:
        return None
    return Raster(
        width=width,
        height=height,
        channels=3 if kind in (b"P3", b"P6", b"PF") else 1,
        white=white,
        plain=kind in (b"P2", b"P3"),
        form=">u2" if white else "<f4" if scale < 0 else ">f4",
        start=found.end(),
    )


def raw_samples(path: Path, raster: Raster, *, partly: bool) -> tuple[NDArray[Any], bool]:
    """Read the samples of a file, as stored, (height, width, 1 or 3) from the top down, and whether some are missing.

    Those are at the end, and 0. Raises PictureError when samples are missing, unless ``partly``, or wrong.
    """
    shape = raster.height, raster.width, raster.channels
    samples: NDArray[Any] = np.zeros(shape, np.uint16 if raster.plain else raster.form)
    with reading(path) as (file, _), named("PPM"):
        file.seek(raster.start)
        flat = samples.reshape(-1)
        whole = 0 if raster.plain else file.readinto(flat.view(np.uint8))  # type: ignore[attr-defined]
        read = _read_plain(file, flat) if raster.plain else whole // flat.itemsize
        if read < flat.size and not (partly and read):
            raise EOFError
    return (samples if raster.white else samples[::-1]), read < flat.size


def scaled(samples: NDArray[Any], white: int) -> NDArray[Any]:
    """Return samples as uint16 over their whole range, or as float32, 0 to 1, where they are floats."""
    if not white:
        return np.asarray(np.clip(np.nan_to_num(samples, nan=0.0), 0.0, 1.0), dtype=np.float32)
    levels = np.minimum(samples.astype(np.uint32) * 65535 + white // 2, 65535 * white)
    return (levels // white).astype(np.uint16)


def _read_plain(file: BinaryIO, samples: NDArray[Any]) -> int:
    """Read samples in decimal, with comments between them; return how many."""
    read, rest = 0, b""
    while read < samples.size and (line := file.readline(_BLOCK)):
        text = (rest + line).partition(b"#")[0]
        rest = b"" if line.endswith(b"\n") else re.search(rb"\S*\Z", text)[0]  # type: ignore[index]
        if rest:
            text = text[: -len(rest)]
        read = _take(text, samples, read)
    return _take(rest, samples, read)


def _take(text: bytes, samples: NDArray[Any], read: int) -> int:
    if not re.fullmatch(rb"[\d\s]*", text):
        raise ValueError(text[:20])
    values = np.fromstring(text, dtype=np.int64, sep=" ")[: samples.size - read]
    samples[read : read + len(values)] = np.minimum(values, 65535)
    return read + len(values)
