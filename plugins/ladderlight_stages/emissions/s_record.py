"""Motorola S-record files: S19, S28 and S37 by the width of their addresses."""

from __future__ import annotations

from typing import Annotated, Literal

import bincopy

from ladderlight import Board, Contents, DeviceFile, DeviceFileError, Example, Option, Piece, pieces, stage
from ladderlight_stages.emissions.options import LeaveOutFill, NamePattern, Offset, Order, Size, Split
from ladderlight_stages.emissions.records import record_starts

_WIDTHS = (16, 24, 32)


@stage(
    help="Write each device as a Motorola S-record file.",
    example=Example(options={"address_bits": 24}),
)
def s_record(
    contents: Contents,
    board: Board,
    *,
    name: NamePattern = "{device}.srec",
    address_bits: Annotated[
        Literal[16, 24, 32] | None,
        Option("bits of an address: 16 for S19, 24 for S28, 32 for S37; as few as will do if not given"),
    ] = None,
    record: Annotated[int, Option("most data bytes in one record", minimum=1, maximum=250)] = 16,
    order: Order = "little",
    split: Split = "none",
    size: Size = None,
    offset: Offset = 0,
    leave_out_fill: LeaveOutFill = False,
) -> list[DeviceFile]:
    """Give every device in data records with the device's name in the header, a count record, and the end record
    (S9, S8 or S7) that goes with the data records (S1, S2 or S3).

    Raises
    ------
    DeviceFileError
        When the addresses do not fit into the bits asked for, or into 32.
    """
    files = []
    for piece in pieces(contents, board, order=order, split=split, size=size):
        end = offset + len(piece.data)
        width: int = address_bits or next((bits for bits in _WIDTHS if end <= 1 << bits), 32)
        if end > 1 << width:
            raise DeviceFileError(
                f"device {piece.device.name!r} has bytes up to {end - 1:X}h, beyond addresses of {width} bits; "
                + ("lower the offset" if width == 32 else "use more address_bits or a smaller size")
            )
        text = _text(piece, offset, width, record, leave_out_fill=leave_out_fill)
        files.append(piece.file(name, text.encode("ascii"), offset=offset))
    return files


def _text(piece: Piece, offset: int, width: int, record: int, *, leave_out_fill: bool) -> str:
    file = bincopy.BinFile()
    file.header = piece.device.name[:60]
    file.execution_start_address = 0  # without one the library writes no end record
    for at, held in record_starts(piece.data, record, leave_out_fill=leave_out_fill):
        file.add_binary(held, address=offset + at)
    text: str = file.as_srec(number_of_data_bytes=record, address_length_bits=width)
    return text
