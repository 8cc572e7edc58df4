"""Checksums as device programmers show them."""

import hashlib
import zlib
from typing import TypedDict

import numpy as np


class Checksums(TypedDict):
    """Checksums by the names that the manifest has."""

    crc32: str
    sum8: str
    sum16: str
    sum32: str
    sha256: str


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
