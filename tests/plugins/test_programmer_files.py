"""Records against bincopy, which writes the same formats."""

import bincopy
import numpy as np
import pytest

from ladderlight_stages.emissions.intel_hex import intel_hex
from ladderlight_stages.emissions.s_record import s_record


def _sparse(board, random_contents):
    """Return contents with stretches of fill, one of them across the first 64 KiB."""
    contents = random_contents(board)
    words = contents.memories["picture"].words
    words[100:5000] = words[65500:66000] = words[-70:] = 0xFF
    return contents


def _bincopy(data, offset, record, *, leave_out_fill):
    file = bincopy.BinFile()
    for start in range(0, len(data), record):
        held = data[start : start + record]
        if not leave_out_fill or held.strip(b"\xff"):
            file.add_binary(held, address=offset + start)
    return file


@pytest.mark.parametrize("leave_out_fill", [False, True])
@pytest.mark.parametrize(("record", "bits", "offset"), [(16, 24, 0), (250, 32, 0xFFF0), (7, 24, 3), (1, 32, 0x1234567)])
def test_s_records_are_those_of_another_writer(board, random_contents, record, bits, offset, leave_out_fill):
    contents = _sparse(board, random_contents)
    (file,) = s_record(contents, board, address_bits=bits, record=record, offset=offset, leave_out_fill=leave_out_fill)
    data = contents.memories["picture"].words.astype(np.uint8).tobytes()
    other = _bincopy(data, offset, record, leave_out_fill=leave_out_fill)
    other.header, other.execution_start_address = "picture", 0
    assert file.data.decode() == other.as_srec(number_of_data_bytes=record, address_length_bits=bits)


@pytest.mark.parametrize("leave_out_fill", [False, True])
@pytest.mark.parametrize(("record", "offset"), [(16, 0), (32, 0x20000), (1, 0xFFFF0000 - 0x20000)])
def test_hex_records_are_those_of_another_writer(board, random_contents, record, offset, leave_out_fill):
    contents = _sparse(board, random_contents)
    (file,) = intel_hex(contents, board, record=record, offset=offset, leave_out_fill=leave_out_fill)
    data = contents.memories["picture"].words.astype(np.uint8).tobytes()
    other = _bincopy(data, offset, record, leave_out_fill=leave_out_fill)
    assert file.data.decode() == other.as_ihex(number_of_data_bytes=record)


@pytest.mark.parametrize(("record", "offset"), [(255, 5), (100, 0xFFC0)])
def test_hex_records_read_back_elsewhere_and_stay_within_64_kib(board, random_contents, record, offset):
    contents = _sparse(board, random_contents)
    (file,) = intel_hex(contents, board, record=record, offset=offset)
    other = bincopy.BinFile()
    other.add_ihex(file.data.decode())
    assert bytes(other.as_binary()) == contents.memories["picture"].words.astype(np.uint8).tobytes()
    for line in file.data.decode().splitlines():
        if line[7:9] == "00":
            assert int(line[3:7], 16) + int(line[1:3], 16) <= 0x10000
