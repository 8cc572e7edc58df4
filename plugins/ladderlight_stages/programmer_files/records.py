"""Records of hexadecimal digits: a mark, then bytes of which the last is a checksum of the others."""

from dataclasses import dataclass
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Bytes

_DIGITS = np.frombuffer("".join(f"{value:02X}" for value in range(256)).encode("ascii"), dtype=np.uint16)
_AT_ONCE = 1 << 12
"""Records that are encoded at a time, to keep memory small."""


@dataclass(frozen=True, kw_only=True)
class RecordForm:
    """How data records look: the mark, length, lowest bytes of the address, kind, data and checksum."""

    mark: str
    width: int
    """Bytes of an address."""
    kind: bytes = b""
    """Between address and data."""
    beside: int = 0
    """Bytes that the length counts beside the data."""
    total: int
    """The sum of all bytes with the checksum, modulo 256."""

    def write(self, file: BinaryIO, data: bytes, *, start: int, record: int, leave_out_fill: bool) -> int:
        """Write data from an address as records, the last of which may be shorter; return the number of records.

        With ``leave_out_fill`` records of nothing but FFh are left out: an erased chip holds that already.
        """
        held = np.frombuffer(data, dtype=np.uint8)
        whole = len(held) // record * record
        blocks = [held[at : min(at + record * _AT_ONCE, whole)] for at in range(0, whole, record * _AT_ONCE)]
        rows = [block.reshape(-1, record) for block in blocks]
        if whole < len(held):
            rows.append(held[None, whole:])
        count = 0
        for block in rows:
            addresses = start + record * np.arange(len(block), dtype=np.uint64)
            start += block.size
            if leave_out_fill:
                kept = (block != 0xFF).any(axis=1)
                block, addresses = block[kept], addresses[kept]
            file.write(self._encoded(addresses, block))
            count += len(block)
        return count

    def line(self, data: bytes, address: int = 0) -> bytes:
        """Return one record."""
        return self._encoded(np.array([address], dtype=np.uint64), np.frombuffer(data, dtype=np.uint8)[None])

    def _encoded(self, addresses: NDArray[np.uint64], data: Bytes) -> bytes:
        head = 1 + self.width + len(self.kind)
        record = np.empty((len(data), head + data.shape[1] + 1), dtype=np.uint8)
        record[:, 0] = data.shape[1] + self.beside
        record[:, 1 : 1 + self.width] = addresses.astype(">u8")[:, None].view(np.uint8)[:, 8 - self.width :]
        record[:, 1 + self.width : head] = np.frombuffer(self.kind, dtype=np.uint8)
        record[:, head:-1] = data
        record[:, -1] = self.total - record[:, :-1].sum(axis=1, dtype=np.uint8)
        mark = np.frombuffer(self.mark.encode("ascii"), dtype=np.uint8)
        lines = np.empty((len(data), len(mark) + 2 * record.shape[1] + 1), dtype=np.uint8)
        lines[:, : len(mark)] = mark
        lines[:, len(mark) : -1] = _DIGITS[record].view(np.uint8)
        lines[:, -1] = ord("\n")
        return lines.tobytes()
