"""Intel HEX files.

Intel Hexadecimal Object File Format Specification, Revision A, 1988.
"""

from collections.abc import Iterator, Mapping
from io import BytesIO
from typing import Annotated, Any

from ladderlight import Board, Contents, DeviceFile, DeviceFileError, Example, Option, Problem, pieces, refuse, stage
from ladderlight_stages.programmer_files import (
    LeaveOutFill,
    NamePattern,
    Offset,
    Order,
    RecordForm,
    Size,
    Split,
    file_problems,
    largest,
)

_PAGE = 1 << 16  # a data record addresses 64 KiB, which the extended linear address record chooses
_MOST = 1 << 32
_DATA = RecordForm(mark=":", width=2, kind=b"\x00", total=0)
_PAGES = RecordForm(mark=":", width=2, kind=b"\x04", total=0)
"""Extended linear addresses: their data are the upper 16 bits."""


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    yield from file_problems(board, options)
    yield from _beyond(options["offset"], largest(board, options))


def _beyond(offset: int, size: int) -> Iterator[Problem]:
    if offset + size > _MOST:
        what = f"offset {offset:X}h puts bytes beyond the 4 GiB that Intel HEX can address"
        yield Problem(where=("offset",), what=what, action=f"use at most {_MOST - size:X}h")


@stage(help="Write each device as an Intel HEX file.", rule=_problems, example=Example(options={"record": 32}))
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

    Raises DeviceFileError when an offset puts bytes beyond the 4 GiB that the format can address.
    """
    files = []
    for piece in pieces(contents, board, order=order, split=split, size=size):
        refuse(_beyond(offset, piece.size), DeviceFileError)
        text = _text(piece.data, offset, record, leave_out_fill=leave_out_fill)
        files.append(piece.file(name, text, offset=offset))
    return files


def _text(all_data: bytes, offset: int, record: int, *, leave_out_fill: bool) -> bytes:
    """Return the records by pages: those of each but the first follow the page's extended linear address."""
    file = BytesIO()
    start, end = offset, offset + len(all_data)
    while start < end:
        stop = min(end, (start // _PAGE + 1) * _PAGE)
        data = all_data[start - offset : stop - offset]
        if start >= _PAGE and not (leave_out_fill and not data.strip(b"\xff")):
            file.write(_PAGES.line((start // _PAGE).to_bytes(2, "big")))
        _DATA.write(file, data, start=start, record=record, leave_out_fill=leave_out_fill)
        start = stop
    file.write(b":00000001FF\n")
    return file.getvalue()
