"""Picture files that the reading tests share."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from ladderlight import Demand, Picture
from ladderlight_stages.sources.read.stage import read


@pytest.fixture
def samples() -> np.ndarray:
    """A smooth colour picture, uint8 (24, 32, 3), whose corners all differ."""
    y, x = np.mgrid[0:24, 0:32]
    return np.stack([x * 8, y * 10, (x * 4 + 255 - y * 10) // 2], axis=-1).astype(np.uint8)


@pytest.fixture
def read_one() -> Callable[..., Picture]:
    """Read a file that holds one picture, at full size."""

    def one(path: Path, **options: object) -> Picture:
        (picture,) = read(path, Demand(), **options)  # type: ignore[arg-type]
        return picture

    return one


@pytest.fixture
def write_png16() -> Callable[[Path, np.ndarray], None]:
    """Write a 16-bit PNG of 1 to 4 channels, by hand, as no library here writes 16-bit colour; and one more chunk."""

    def write(path: Path, values: np.ndarray, *, extra: bytes = b"", kind: bytes = b"tRNS") -> None:
        height, width, channels = values.shape
        colour_type = {1: 0, 2: 4, 3: 2, 4: 6}[channels]
        rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in values)

        def chunk(name: bytes, data: bytes) -> bytes:
            return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

        header = struct.pack(">IIBBBBB", width, height, 16, colour_type, 0, 0, 0)
        more = chunk(kind, extra) if extra else b""
        path.write_bytes(
            b"\x89PNG\r\n\x1a\n"
            + chunk(b"IHDR", header)
            + more
            + chunk(b"IDAT", zlib.compress(rows))
            + chunk(b"IEND", b"")
        )

    return write
