from __future__ import annotations

import io
import time
import tracemalloc
from collections.abc import Callable

import bincopy
import intelhex
import numpy as np
import pytest

from ladderlight.devices.formats import Segment, format_of, segments_of
from ladderlight.errors import DeviceFileError

HEX = b":10000000000102030405060708090A0B0C0D0E0F78\n:00000001FF\n"
S19 = b"S1130000000102030405060708090A0B0C0D0E0F74\nS5030001FB\nS9030000FC\n"


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (HEX, "intel_hex"),
        (b"\r\n" + HEX.replace(b"\n", b"\r\n"), "intel_hex"),
        (S19, "s_record"),
        (b"// words\n@0 1F 2F\n", "verilog_mem"),
        (b"/* x */\n#include <stdint.h>\nconst uint8_t x[2] = {1, 2};\n", "c_array"),
        (b"static const unsigned char x[] =\n{ 1, 2 };\n", "c_array"),
        (b"    .byte 0x00, 0x01\n", "assembler"),
        (b"picture:\n\tDB\t01Fh\n", "assembler"),
        (b" FCB $1F,$2F\n", "assembler"),
        (b"0" * 64, "binary"),  # a picture of the one colour 30h
        (b":" * 64, "binary"),
        (b"S" * 64, "binary"),
        (bytes(range(256)), "binary"),
        (b"", "binary"),
    ],
)
def test_formats_are_told_by_content(data, kind):
    assert format_of(data) == kind


@pytest.mark.parametrize(
    "unit", [b"/**/", b"/*", b" ", b"//\n", b"#\n", b"0", b"0 ", b":00", b"@0 ", b"x[", b"\n", b" a "]
)
def test_a_picture_of_any_pattern_is_told_at_once(unit):
    started = time.process_time()
    format_of(unit * (1 << 18) + b"\xff")
    assert time.process_time() - started < 2  # it is some milliseconds; going back and forth would take hours


@pytest.mark.parametrize(
    ("text", "element", "order", "held"),
    [
        ("x[3] = {0x01, 2,\n 0xFF,};", 1, "little", "0102ff"),
        ("uint16_t x[2] = { 0x0102, /* two */ 3 };", 2, "little", "02010300"),
        ("uint16_t x[2] = { 0x0102, 3 };", 2, "big", "01020003"),
        ("x:\n DB 0FFh, 001h\n DB 2\n", 1, "little", "ff0102"),
        ("  FCB $10,$20\n", 1, "little", "1020"),
    ],
)
def test_sources_give_their_numbers(text, element, order, held):
    assert segments_of("f", text.encode(), element=element, order=order) == [
        Segment(address=0, data=bytes.fromhex(held))
    ]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("x[2] = { 1, 2", "no end"),
        ("x[2] = { 1, 256 };", "'256' is not a number of 8 bits"),
        ("x[2] = { 1, two };", "'two' is not a number"),
        ("x[3] = { 1, 2, 3 };", "holds 3 bytes, not 2"),
        ("  .byte 0x1\n", "holds 1 byte, not 2"),
    ],
)
def test_a_damaged_source_is_one_clear_error(text, message):
    with pytest.raises(DeviceFileError, match=message):
        segments_of("f", text.encode(), size=2)


def ihex(kind, data, address=0):
    """One record, by the format's description: length, address, type, data, and what makes the sum of all zero."""
    body = bytes([len(data)]) + address.to_bytes(2, "big") + bytes([kind]) + data
    return b":" + (body + bytes([-sum(body) & 0xFF])).hex().upper().encode() + b"\n"


@pytest.mark.parametrize("data", [HEX, S19, b"\xef\xbb\xbf" + HEX])  # U+FEFF in UTF-8: Unicode Standard, 2.13
def test_records_give_their_bytes(data):
    assert segments_of("f", data) == [Segment(address=0, data=bytes(range(16)))]


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (HEX.replace(b"0F78", b"0E78"), r"f:1: expected checksum 79 in record .*; the file is damaged"),
        (HEX.replace(b":00000001FF\n", b""), "no end record"),
        (HEX.splitlines(keepends=True)[0] + HEX, "f: two records hold address 0h"),
        (HEX + b":0100200001DE\n", "continues after its end record"),
        (HEX[:50], r"f:2: .*damaged"),
        (HEX[:20] + b"\xc4" + HEX[20:], "holds 57 bytes, not 16; it begins like Intel HEX"),
        (S19.replace(b"S5030001FB", b"S5030002FA"), "holds 1 data record, but its count record has 2"),
        (S19.replace(b"S9030000FC\n", b"").replace(b"S5030001FB\n", b""), "no end record"),
        (S19.replace(b"0F74", b"0F75"), r"f:1: expected checksum"),
        (b"@0 12 123\n", "'123' is not a hexadecimal element of 8 bits"),
        (b"@0 12 xy\n", "'xy' is not a hexadecimal element"),
        (b"@0 12\n@100000000 34\n", "'@100000000' is not a hexadecimal element of 8 bits or an address"),
        (b"@0 12\n@-5 34\n", "'@-5' is not a hexadecimal element of 8 bits or an address"),
        (ihex(4, b"\1" + bytes(7)) + HEX, "f: has bytes at 1000000000000000000h, above FFFFFFFFh"),
        (ihex(9, b"\1") + HEX, "f: has a record of type 9, which Intel HEX has not"),
    ],
)
def test_a_damaged_file_is_one_clear_error(data, message):
    with pytest.raises(DeviceFileError, match=message) as caught:
        segments_of("f", data, size=16)
    assert "\n" not in str(caught.value)


def test_a_count_record_is_end_enough():
    assert segments_of("f", S19.replace(b"S9030000FC\n", b"")) == segments_of("f", S19)


def test_records_may_come_in_any_order():
    first, second, end = b":020000000102FB", b":020010000304E7", b":00000001FF"
    assert segments_of("f", b"\n".join([second, first, end])) == [
        Segment(address=0, data=b"\x01\x02"),
        Segment(address=16, data=b"\x03\x04"),
    ]


def test_text_that_turns_binary_is_an_error():
    with pytest.raises(DeviceFileError, match="byte 45 is not"):
        segments_of("f", HEX[:45] + b"\xff\n")


def test_verilog_addresses_count_elements():
    text = b"// two blocks\n@0 0001 0002 /* gap */ @10\nABCD\n"
    assert segments_of("f", text, element=2) == [
        Segment(address=0, data=bytes.fromhex("01000200")),
        Segment(address=0x20, data=bytes.fromhex("CDAB")),
    ]
    assert segments_of("f", text, element=2, order="big")[1].data.hex() == "abcd"


def test_a_record_cut_within_a_byte_is_said_to_be_cut_short():
    text = b":10000000000102030405060708090A0B0C0D0E0F78\n:1000100000010203040506070"
    with pytest.raises(DeviceFileError, match=r"^a\.hex:2: the record is cut short or not hexadecimal; the file"):
        segments_of("a.hex", text)


def test_extended_addresses_shift_what_follows():
    """Intel HEX: record type 4 gives the upper 16 bits of the address, type 2 a multiple of 16."""
    text = ihex(4, b"\x00\x02") + ihex(0, b"\1\2", 8) + ihex(4, bytes(2)) + ihex(2, b"\x10\x00") + ihex(0, b"\3", 4)
    assert segments_of("f", text + b":00000001FF\n") == [
        Segment(address=0x10004, data=b"\3"),
        Segment(address=0x20008, data=b"\1\2"),
    ]


def test_many_gaps_take_a_time_in_proportion():
    """Inserting each record into a list of all before it would take a time in proportion to the square."""

    def text(count):
        places = np.random.default_rng(count).permutation(count) * 2
        return b"".join(ihex(0, b"\1", int(place)) for place in places) + b":00000001FF\n"

    def seconds(count):
        """Return the least of several times: what else the machine does only adds to them."""
        times = []
        for _ in range(5):
            start = time.process_time()
            assert len(segments_of("f", texts[count])) == count
            times.append(time.process_time() - start)
        return min(times)

    texts = {count: text(count) for count in (4_000, 32_000)}
    assert seconds(32_000) < 30 * seconds(4_000)  # 8 times the data; 64 times as long by the square


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
