"""Dumps as a programmer saves them that is set to a larger or a smaller part than the one in its socket."""

import numpy as np
import pytest
from intelhex import IntelHex

from ladderlight.errors import UsageError
from ladderlight.readback.comparison import document_of_reports, report_on
from ladderlight.readback.dumps import Dump, readings_of
from ladderlight.readback.matching import match
from ladderlight.readback.sections import image_of, sections_of


@pytest.fixture
def compared(narrow, photographs):
    """Compare a dump that is made of a device's bytes."""
    board = narrow()
    words = photographs(board, np.random.default_rng(21))
    image = image_of(words, board.devices[0])

    def make(change):
        sections = sections_of(board, [])
        found = match([Dump(name="read.bin", data=change(image))], sections, wanted={"picture": image})
        (reading,) = readings_of(found, sections)
        return report_on(board, reading, found, {"picture": words})

    return make


def test_a_dump_that_repeats_is_of_a_larger_part(compared):
    report = compared(lambda image: np.tile(image, 4).tobytes())
    assert report.same
    assert report.reading.complete
    note = "has 32,768 bytes: the programmer was set to a larger part, and its data repeats; select 28C64"
    assert document_of_reports([report])["dumps"][0]["note"] == note


def test_a_fault_is_still_found_in_a_dump_that_repeats(compared):
    report = compared(lambda image: np.tile(image & 0xFD, 2).tobytes())
    assert [diagnosis.text for diagnosis in report.diagnoses] == ["data line D1 (b1) stuck low"]


@pytest.mark.parametrize("at", [0, 1])
def test_a_larger_dump_whose_other_half_is_erased(compared, at):
    def larger(image):
        halves = np.full((2, image.size), 0xFF, dtype=np.uint8)
        halves[at] = image
        return halves.tobytes()

    report = compared(larger)
    assert report.same
    assert f"only its data from {at * 8192:X}h was compared" in report.dumps[0][0].note


@pytest.mark.parametrize("block", range(4))
def test_a_dump_that_stops_is_of_a_smaller_part(compared, block):
    """The pins that a smaller part lacks are fixed by the programmer: any quarter may be the one that was read."""
    report = compared(lambda image: image[block * 2048 : (block + 1) * 2048].tobytes())
    assert report.same
    assert report.reading.unread_bytes == 3 * 2048
    span = f"bytes {block * 2048:X}h to {block * 2048 + 2047:X}h"
    assert f"set to a smaller part, and it stops and holds only {span}; select 28C64" in report.dumps[0][0].note


def test_a_larger_dump_in_intel_hex(compared, tmp_path):
    def larger(image):
        """By the library intelhex, which takes no part in what is tested."""
        writer = IntelHex()
        writer.frombytes(np.tile(image, 2).tobytes())
        writer.write_hex_file(str(tmp_path / "read.hex"))
        return (tmp_path / "read.hex").read_bytes()

    assert "its data repeats" in compared(larger).dumps[0][0].note


@pytest.mark.parametrize("size", [2048, 16384, 5000])
def test_a_dump_of_another_size_and_other_data_is_refused(compared, size):
    other = np.random.default_rng(2).integers(0, 256, size).astype(np.uint8).tobytes()
    with pytest.raises(UsageError, match=f"holds {size:,} bytes, but device 'picture'"):
        compared(lambda _: other)
