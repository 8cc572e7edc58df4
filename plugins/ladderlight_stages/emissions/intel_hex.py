"""Intel HEX files.

Intel Hexadecimal Object File Format Specification, Revision A, 1988.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any

from ladderlight import (
    Board,
    Contents,
    DeviceFile,
    DeviceFileError,
    Example,
    Option,
    Piece,
    Problem,
    pieces,
    refuse,
    stage,
)
from ladderlight_stages.programmer_files.options import (
    LeaveOutFill,
    NamePattern,
    Offset,
    Order,
    Size,
    Split,
    file_problems,
    largest,
)
from ladderlight_stages.programmer_files.records import record_starts

_PAGE = 1 << 16
"""A data record addresses 64 KiB, which the extended linear address record chooses."""
_MOST = 1 << 32


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    yield from file_problems(board, options)
    yield from _beyond(options["offset"], largest(board, options))


def _beyond(offset: int, size: int) -> Iterator[Problem]:
    if offset + size > _MOST:
        what = f"offset {offset:X}h puts bytes beyond the 4 GiB that Intel HEX can address"
        yield Problem(where=("offset",), what=what, action=f"use at most {_MOST - size:X}h")


@stage(
    help="Write each device as an Intel HEX file.",
    rule=_problems,
    example=Example(options={"record": 32}),
)
def intel_hex(
    contents: Contents,
    board: Board,
    *,
    name: NamePattern = "{device}.hex",
    record: Annotated[int, Option("most data bytes in one record", minimum=1, maximum=255)] = 16,
    order: Order = "little",
    split: Split = "none",
    size: Size = None,
    offset: Offset = 0,
    leave_out_fill: LeaveOutFill = False,
) -> list[DeviceFile]:
    """Return each device in records of 16 bytes by default, with extended linear addresses above 64 KiB.

    No data record crosses a 64 KiB boundary, since the specification does not define addresses that wrap in a record.

    Raises
    ------
    DeviceFileError
        When an offset puts bytes beyond the 4 GiB that the format can address.
    """
    files = []
    for piece in pieces(contents, board, order=order, split=split, size=size):
        refuse(_beyond(offset, piece.size), DeviceFileError)
        text = _text(piece, offset, record, leave_out_fill=leave_out_fill)
        files.append(piece.file(name, text.encode("ascii"), offset=offset))
    return files


def _text(piece: Piece, offset: int, record: int, *, leave_out_fill: bool) -> str:
    """Write the records page by page, because the library lets records cross from one page into the next."""
    import bincopy  # slow to import

    lines: list[str] = []
    end = offset + len(piece.data)
    start = offset
    while start < end:
        stop = min(end, (start // _PAGE + 1) * _PAGE)
        data = piece.data[start - offset : stop - offset]
        page = bincopy.BinFile()
        for at, held in record_starts(data, record, leave_out_fill=leave_out_fill):
            page.add_binary(held, address=start + at)
        if len(page):
            lines += page.as_ihex(number_of_data_bytes=record).splitlines()[:-1]
        start = stop
    return "\n".join([*lines, ":00000001FF", ""])
