"""Options and records that formats of device files share."""

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, BinaryIO, Literal

import numpy as np
from numpy.typing import NDArray

from ladderlight import Board, DeviceFileError, Frozen, Option, Piece, Problem, planned_pieces
from ladderlight.units.arrays import Bytes

NamePattern = Annotated[str, Option("file name", fields=("device", "memory", "part", "piece", "project"))]
Order = Annotated[Literal["little", "big"], Option("byte order of words wider than 8 bits")]
Split = Annotated[
    Literal["none", "even_odd"], Option("whether the even and the odd bytes of wider words go into separate files")
]
Size = Annotated[
    int | None, Option("most bytes in one file, for programmers with a limit; all if not given", minimum=1)
]
Offset = Annotated[int, Option("address of a file's first byte", minimum=0)]
LeaveOutFill = Annotated[bool, Option("leave out records of FFh alone, which an erased chip holds already")]
_DIGITS = np.frombuffer("".join(f"{value:02X}" for value in range(256)).encode("ascii"), dtype=np.uint16)
_AT_ONCE = 1 << 12  # records that are encoded at a time, to keep memory small


def file_problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    """Yield what is wrong with ``name``, ``split`` and ``size`` of an emission stage."""
    try:
        planned = planned_pieces(board, split=options["split"], size=options["size"])
    except DeviceFileError as error:
        yield Problem.of(error, "size")
        return
    names: set[str] = set()
    for piece in planned:
        try:
            name = piece.file_name(options["name"])
        except DeviceFileError as error:
            yield Problem.of(error, "name")
            return
        if name.casefold() in names:
            what = f"several files would be written to devices/{name}"
            yield Problem(where=("name",), what=what, action="put {device} or {piece} into the name")
            return
        names.add(name.casefold())


def planned(board: Board, options: Mapping[str, Any]) -> list[Piece]:
    """Return the planned files; none where ``size`` is wrong, which :func:`file_problems` reports."""
    try:
        return planned_pieces(board, split=options["split"], size=options["size"])
    except DeviceFileError:
        return []


def largest(board: Board, options: Mapping[str, Any]) -> int:
    """Return the bytes of the largest file; 0 where ``size`` is wrong."""
    return max((piece.size for piece in planned(board, options)), default=0)


class RecordForm(Frozen):
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
