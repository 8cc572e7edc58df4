import re

import pytest

from ladderlight import Contents, DeviceFileError, MemoryContents
from ladderlight.devices.files import join_files
from ladderlight_stages.emissions.intel_hex import intel_hex

RECORD = re.compile(r":([0-9A-F]{2})([0-9A-F]{4})([0-9A-F]{2})((?:[0-9A-F]{2})*)([0-9A-F]{2})")


def records(file):
    """The records as (type, address, data); each matches the format and sums to zero."""
    found = []
    lines = file.data.decode("ascii").splitlines()
    for line in lines:
        match = RECORD.fullmatch(line)
        assert match, line
        everything = bytes.fromhex(line[1:])
        assert sum(everything) % 256 == 0
        assert int(match[1], 16) == len(match[4]) // 2
        found.append((int(match[3], 16), int(match[2], 16), bytes.fromhex(match[4])))
    return found


@pytest.mark.parametrize("record", [1, 16, 24, 100, 255])
def test_no_record_crosses_a_64_kib_boundary_whatever_its_length(board, random_contents, record):
    (file,) = intel_hex(random_contents(board), board, record=record)
    found = records(file)
    data = [(address, held) for kind, address, held in found if kind == 0]
    assert max(len(held) for _, held in data) == record
    assert all(address + len(held) <= 0x10000 for address, held in data)
    assert [held for kind, _, held in found if kind == 4] == [b"\x00\x01"]
    assert found[-1] == (1, 0, b"")
    assert sum(kind == 1 for kind, _, _ in found) == 1


def test_the_file_reads_back_to_the_same_words(board, random_contents):
    contents = random_contents(board)
    files = intel_hex(contents, board, record=24)
    assert (join_files(files, board.devices[0]) == contents.memories["picture"].words).all()


def test_an_offset_moves_every_address_and_is_known_when_reading_back(board, random_contents):
    contents = random_contents(board)
    (file,) = intel_hex(contents, board, offset=0x1FFF8)
    found = records(file)
    assert found[0] == (4, 0, b"\x00\x01")
    assert found[1][1] == 0xFFF8
    assert len(found[1][2]) == 8
    assert (join_files([file], board.devices[0]) == contents.memories["picture"].words).all()


def test_an_offset_beyond_the_format_is_refused(board, random_contents):
    with pytest.raises(DeviceFileError, match="beyond the 4 GiB that Intel HEX can address; use at most FFFE0000h"):
        intel_hex(random_contents(board), board, offset=0xFFFFFFFF)


def test_fill_is_left_out_only_when_asked_and_reads_back_as_erased(board, banked):
    contents = banked(board, (0, 3))
    (whole,) = intel_hex(contents, board)
    (short,) = intel_hex(contents, board, leave_out_fill=True)
    held = sum(len(data) for kind, _, data in records(short) if kind == 0)
    assert sum(len(data) for kind, _, data in records(whole) if kind == 0) == 131072
    assert held == 2 * 160 * 120
    assert (join_files([short], board.devices[0]) == contents.memories["picture"].words).all()


def test_a_device_that_holds_only_fill_leaves_a_file_with_just_the_end_record(board, random_contents):
    contents = random_contents(board)
    erased = contents.memories["picture"].words * 0 + 255
    contents = Contents(memories={"picture": MemoryContents(words=erased, written=erased * 0)})
    (file,) = intel_hex(contents, board, leave_out_fill=True)
    assert file.data == b":00000001FF\n"
    assert (join_files([file], board.devices[0]) == 255).all()
