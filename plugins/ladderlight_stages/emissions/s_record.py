"""Motorola S-record files: S19, S28 and S37 by the width of their addresses."""

from collections.abc import Iterator, Mapping
from io import BytesIO
from typing import Annotated, Any, Literal

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

_WIDTHS = (16, 24, 32)
_LONGEST_HEADER = 60


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    yield from file_problems(board, options)
    yield from _beyond(options["offset"] + largest(board, options), options["address_bits"])


def _width(end: int, address_bits: int | None) -> int:
    """Return the bits of an address for bytes up to ``end``."""
    return address_bits or next((bits for bits in _WIDTHS if end <= 1 << bits), 32)


def _beyond(end: int, address_bits: int | None) -> Iterator[Problem]:
    width = _width(end, address_bits)
    if end > 1 << width:
        yield Problem(
            where=("address_bits" if width < 32 else "offset",),
            what=f"the last byte is at {end - 1:X}h, beyond addresses of {width} bits",
            action="lower the offset" if width == 32 else "use more address_bits, or a smaller size or offset",
        )


@stage(
    help="Write each device as a Motorola S-record file.", rule=_problems, example=Example(options={"address_bits": 24})
)
def s_record(
    contents: Contents,
    board: Board,
    *,
    name: NamePattern = "{device}.srec",
    address_bits: Annotated[
        Literal[16, 24, 32] | None,
        Option("bits of an address: 16 for S19, 24 for S28, 32 for S37; the fewest that suffice if not given"),
    ] = None,
    record: Annotated[int, Option("most data bytes in one record", minimum=1, maximum=250)] = 16,
    order: Order = "little",
    split: Split = "none",
    size: Size = None,
    offset: Offset = 0,
    leave_out_fill: LeaveOutFill = False,
) -> list[DeviceFile]:
    """Return each device in data records (S1, S2 or S3), after a header with the device's name and before a count
    record and the end record for their width (S9, S8 or S7).

    Raises DeviceFileError when addresses need more than ``address_bits``, or than 32 bits.
    """
    files = []
    for piece in pieces(contents, board, order=order, split=split, size=size):
        end = offset + piece.size
        refuse(_beyond(end, address_bits), DeviceFileError)
        number = _width(end, address_bits) // 8 - 1
        text = BytesIO()
        text.write(_form(0, 2).line(piece.device.name[:_LONGEST_HEADER].encode()))
        data = _form(number, number + 1)
        count = data.write(text, piece.data, start=offset, record=record, leave_out_fill=leave_out_fill)
        counts = [_form(kind, size).line(b"", count) for kind, size in ((5, 2), (6, 3)) if count < 1 << 8 * size]
        text.writelines([*counts[:1], _form(10 - number, number + 1).line(b"")])
        files.append(piece.file(name, text.getvalue(), offset=offset))
    return files


def _form(kind: int, width: int) -> RecordForm:
    """Return the form of records with addresses of ``width`` bytes; their length counts address and checksum too."""
    return RecordForm(mark=f"S{kind}", width=width, beside=width + 1, total=0xFF)
