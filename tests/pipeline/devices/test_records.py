"""Intel HEX and S-records, many records at once and one by one; bincopy and intelhex read the same."""

from __future__ import annotations

import io
import tracemalloc
from collections.abc import Callable

import bincopy
import intelhex
import numpy as np
import pytest

from ladderlight.devices.formats import segments_of
from ladderlight.errors import DeviceFileError

RANDOM = np.random.default_rng(7)


def hexadecimal(data: bytes, *, address: int = 0, record: int = 16) -> str:
    """Intel HEX by bincopy."""
    file = bincopy.BinFile()
    file.add_binary(data, address=address)
    return str(file.as_ihex(number_of_data_bytes=record))


def motorola(data: bytes, *, address: int = 0, record: int = 16) -> str:
    """S-records by bincopy."""
    file = bincopy.BinFile()
    file.add_binary(data, address=address)
    return str(file.as_srec(number_of_data_bytes=record))


def read(text: str) -> list[tuple[int, bytes]]:
    return [(segment.address, bytes(segment.data)) for segment in segments_of("a.hex", text.encode())]


@pytest.mark.parametrize("write", [hexadecimal, motorola])
@pytest.mark.parametrize("record", [1, 16, 21, 32])
@pytest.mark.parametrize(("size", "address"), [(1, 0), (63, 5), (70_000, 0), (150_000, 0xFFF0), (9000, 0xFFFF_0000)])
def test_bytes_of_another_library(write: Callable[..., str], record: int, size: int, address: int) -> None:
    data = RANDOM.bytes(size)
    text = write(data, address=address, record=record)
    assert read(text) == [(address, data)]
    assert read(text.replace("\n", "\r\n").lower().replace("s", "S")) == [(address, data)]


def test_a_file_with_gaps_out_of_order_and_of_mixed_lengths() -> None:
    """Against intelhex."""
    data = RANDOM.bytes(4000)
    parts = [hexadecimal(data[first:end], address=first, record=record) for first, end, record in PARTS]
    lines = [line for part in parts for line in part.split() if line != ":00000001FF"]
    text = "\n".join([*lines, ":00000001FF"])
    whole = intelhex.IntelHex(io.StringIO(text))
    assert read(text) == [(first, bytes(whole.tobinarray(first, end - 1))) for first, end in ((0, 700), (1000, 3900))]


def test_blank_lines_count_for_nothing_and_lengths_may_alternate() -> None:
    data = RANDOM.bytes(36_000)
    places = [at for block in range(0, len(data), 36) for at in (block, block + 16)]
    parts = [hexadecimal(data[at : at + (16, 20)[i % 2]], address=at, record=32) for i, at in enumerate(places)]
    lines = [part.split()[0] for part in parts]
    text = "\n" * 9 + "\n\n".join(lines) + "\n" * 9 + ":00000001FF\n\n"
    assert read(text) == [(0, data)]
    assert read("\n".join([*lines, ":00000001FF"])) == [(0, data)]


PARTS = ((2000, 3900, 16), (1000, 1500, 7), (0, 300, 32), (300, 700, 16), (1500, 2000, 20))


@pytest.mark.parametrize("write", [hexadecimal, motorola])
def test_one_wrong_digit_among_many_records_is_named_by_its_line(write: Callable[..., str]) -> None:
    lines = write(RANDOM.bytes(160_000)).splitlines()
    line = lines[6789]
    lines[6789] = line[:-1] + ("0" if line[-1] != "0" else "1")
    with pytest.raises(DeviceFileError, match="expected checksum") as error:
        read("\n".join(lines))
    assert error.value.faults[0].where == "a.hex:6790"


@pytest.mark.parametrize(("write", "end"), [(hexadecimal, ":00000001FF"), (motorola, "S9030000FC")])
def test_records_behind_the_end_and_no_end(write: Callable[..., str], end: str) -> None:
    lines = [line for line in write(bytes(400)).splitlines() if line not in (end, "S5030019E3")]
    with pytest.raises(DeviceFileError, match="no end record"):
        read("\n".join(lines))
    with pytest.raises(DeviceFileError, match="continues after its end record"):
        read("\n".join([*lines[:5], end, *lines[5:]]))


@pytest.mark.parametrize(("write", "other"), [(hexadecimal, motorola), (motorola, hexadecimal)])
def test_many_records_of_the_other_format(write: Callable[..., str], other: Callable[..., str]) -> None:
    """bincopy refuses them too."""
    first, *rest = write(RANDOM.bytes(256), address=0x1000).split()
    text = "\n".join([first, *other(RANDOM.bytes(256), address=0x2000).split()[:16], *rest])
    with pytest.raises(bincopy.Error):
        (bincopy.BinFile().add_ihex if write is hexadecimal else bincopy.BinFile().add_srec)(text)
    with pytest.raises(DeviceFileError, match=f"does not begin with '{first[0]}'"):
        read(text)


def test_records_missing_from_those_counted() -> None:
    lines = motorola(RANDOM.bytes(4000)).splitlines()
    with pytest.raises(DeviceFileError, match="holds 249 data records, but its count record has 250"):
        read("\n".join(lines[:100] + lines[101:]))


@pytest.mark.parametrize("write", [hexadecimal, motorola])
def test_a_byte_twice_among_many_records(write: Callable[..., str]) -> None:
    lines = write(RANDOM.bytes(4000)).splitlines()
    lines.insert(200, lines[40])
    count = [line for line in lines if line.startswith("S5")]
    with pytest.raises(DeviceFileError, match="two records hold address"):
        read("\n".join(line for line in lines if line not in count))


@pytest.mark.parametrize("write", [hexadecimal, motorola])
def test_memory_for_reading_is_a_few_times_the_bytes(write: Callable[..., str]) -> None:
    """Records one by one, as text and as objects, took thirty times the bytes."""
    data = RANDOM.bytes(1 << 18)
    text = write(data).encode()
    segments_of("a.hex", text)
    tracemalloc.start()
    segments_of("a.hex", text)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 5 * len(data)
