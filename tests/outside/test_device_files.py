"""Device files against the specifications' own records and against readers that did not write them."""

from __future__ import annotations

import io
import struct
import subprocess
import zlib

import bincopy
import intelhex
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ladderlight import Contents, MemoryContents
from ladderlight.board import Part
from ladderlight.devices.files import checksums_of
from ladderlight.devices.formats import segments_of
from ladderlight.proof.screens import to_png
from ladderlight_stages.emissions.indexed_png import indexed_png
from ladderlight_stages.emissions.intel_hex import intel_hex
from ladderlight_stages.emissions.s_record import s_record

SOME = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
IMAGES = st.one_of(
    st.binary(min_size=1, max_size=600),
    st.builds(  # devices of more than 64 KiB, most of it one value
        lambda head, size, value: head + bytes([value]) * size,
        st.binary(min_size=1, max_size=40),
        st.integers(65500, 140000),
        st.sampled_from([0, 0xFF]),
    ),
)


@pytest.fixture
def of_image(make_board, memory):
    """A board with one 8-bit device that holds an image, and the contents."""

    def make(image):
        part = Part(number="spare", words=len(image), width=8)
        board = make_board(memory(address=[], data=["b0-b1", "g0-g1", "r0-r1"], part=part), check=False)
        words = np.frombuffer(image, dtype=np.uint8).astype(np.uint32)
        written = np.full(len(image), 0xFF, dtype=np.uint32)
        return Contents(memories={"picture": MemoryContents(words=words, written=written)}), board

    return make


# Intel Hexadecimal Object File Format Specification, Revision A, 1988: the records that it gives as examples.
@pytest.mark.parametrize(
    ("records", "address", "data"),
    [
        (":10246200464C5549442050524F46494C4500464C33", 0x2462, b"FLUID PROFILE\0FL"),
        (":02000004CAFE32\n:0100000012ED", 0xCAFE0000, b"\x12"),
        (":10011000000102030405060708090A0B0C0D0E0F67", 0x0110, bytes(range(16))),
    ],
)
def test_the_specifications_own_hex_records_are_read(records, address, data):
    (segment,) = segments_of("f", f"{records}\n:00000001FF\n".encode())
    assert (segment.address, segment.data) == (address, data)


def test_the_specifications_own_data_record_is_written(of_image):
    contents, board = of_image(bytes(range(16)))
    (file,) = intel_hex(contents, board, offset=0x110)
    assert file.data.decode().splitlines() == [":10011000000102030405060708090A0B0C0D0E0F67", ":00000001FF"]


# S-record examples of the format's usual description, as in srec(5) of the srecord package and many manuals.
S_RECORDS = "S00600004844521B", "S1130000285F245F2212226A000424290008237C2A", "S9030000FC"


def test_the_usual_s_records_are_read():
    (segment,) = segments_of("f", "\n".join(S_RECORDS).encode())
    assert segment.data.hex() == "285f245f2212226a000424290008237c"
    assert bincopy.unpack_srec("S5030004F8") == ("5", 4, 0, bytearray())


def test_the_usual_s_records_are_written(of_image):
    contents, board = of_image(bytes.fromhex("285F245F2212226A000424290008237C"))
    (file,) = s_record(contents, board)
    lines = file.data.decode().splitlines()
    assert lines[1] == S_RECORDS[1]
    assert lines[2] == "S5030001FB"
    assert lines[3] == S_RECORDS[2]


@given(image=IMAGES, record=st.integers(1, 255), offset=st.sampled_from([0, 1, 0xFFF0, 0x12345]), leave=st.booleans())
@SOME
def test_intelhex_reads_our_hex(of_image, image, record, offset, leave):
    record = max(record, len(image) >> 13)  # no more than 8192 records, for the sake of time
    contents, board = of_image(image)
    (file,) = intel_hex(contents, board, record=record, offset=offset, leave_out_fill=leave)
    read = intelhex.IntelHex()
    read.fromfile(io.StringIO(file.data.decode("ascii")), format="hex")
    read.padding = 0xFF
    assert read.tobinstr(start=offset, size=len(image)) == image
    if not leave:
        assert (read.minaddr(), read.maxaddr()) == (offset, offset + len(image) - 1)


@given(image=IMAGES, record=st.integers(1, 255))
@SOME
def test_objcopy_reads_our_hex(of_image, program, tmp_path, image, record):
    objcopy = program("objcopy")
    record = max(record, len(image) >> 13)  # no more than 8192 records, for the sake of time
    contents, board = of_image(image)
    (file,) = intel_hex(contents, board, record=record)
    (tmp_path / "a.hex").write_bytes(file.data)
    subprocess.run([objcopy, "-I", "ihex", "-O", "binary", tmp_path / "a.hex", tmp_path / "a.bin"], check=True)
    assert (tmp_path / "a.bin").read_bytes() == image


@given(image=IMAGES, record=st.integers(1, 250), bits=st.sampled_from([None, 24, 32]))
@SOME
def test_objcopy_and_srec_cat_read_our_s_records(of_image, program, tmp_path, image, record, bits):
    objcopy, srec_cat = program("objcopy"), program("srec_cat")
    record = max(record, len(image) >> 13)
    contents, board = of_image(image)
    (file,) = s_record(contents, board, record=record, address_bits=bits)
    lines = file.data.decode().splitlines()
    kind = {None: "1" if len(image) <= 0x10000 else "2", 24: "2", 32: "3"}[bits]
    assert {line[1] for line in lines} - set("056") == {kind, {"1": "9", "2": "8", "3": "7"}[kind]}
    (tmp_path / "a.srec").write_bytes(file.data)
    subprocess.run([objcopy, "-I", "srec", "-O", "binary", tmp_path / "a.srec", tmp_path / "a.bin"], check=True)
    assert (tmp_path / "a.bin").read_bytes() == image
    strict = ["-disable-sequence-warnings", tmp_path / "a.srec", "-motorola", "-o", tmp_path / "b.bin", "-binary"]
    subprocess.run([srec_cat, *strict], check=True, capture_output=True)
    assert (tmp_path / "b.bin").read_bytes() == image


def test_srec_cat_reads_our_hex_and_finds_both_formats_the_same(of_image, program, tmp_path):
    srec_cat = program("srec_cat")
    image = np.random.default_rng(4).bytes(150000)
    contents, board = of_image(image)
    (tmp_path / "a.hex").write_bytes(intel_hex(contents, board, record=24)[0].data)
    (tmp_path / "a.srec").write_bytes(s_record(contents, board, record=33)[0].data)
    for name, kind in (("a.hex", "-intel"), ("a.srec", "-motorola")):
        subprocess.run([srec_cat, tmp_path / name, kind, "-o", tmp_path / "out", "-binary"], check=True)
        assert (tmp_path / "out").read_bytes() == image


@pytest.mark.parametrize(("style", "options"), [("intel", []), ("motorola", []), ("intel", ["-line-length=130"])])
def test_we_read_the_files_of_srec_cat(program, tmp_path, style, options):
    srec_cat = program("srec_cat")
    image = np.random.default_rng(5).bytes(100000)
    (tmp_path / "in").write_bytes(image)
    command = [srec_cat, tmp_path / "in", "-binary", "-o", tmp_path / "out", f"-{style}", *options]
    subprocess.run(command, check=True, capture_output=True)
    segments = segments_of("out", (tmp_path / "out").read_bytes())
    assert b"".join(segment.data for segment in segments) == image
    assert segments[0].address == 0


# CRC-32/ISO-HDLC check value, and figures computed for erased devices; the last from the definition of a byte sum.
@pytest.mark.parametrize(
    ("data", "figures"),
    [
        (b"123456789", {"crc32": "CBF43926"}),
        (b"\xff" * (32 << 10), {"crc32": "1B43EABD", "sum16": "8000"}),
        (b"\xff" * (64 << 10), {"crc32": "DEAB7E4E", "sum16": "0000"}),
        (b"\xff" * (128 << 10), {"crc32": "154803CC"}),
        (b"\xff" * (512 << 10), {"crc32": "504BF849"}),
        (bytes(range(256)) * 128, {"crc32": "217726B2", "sum32": "003FC000"}),
        (bytes.fromhex("11802290"), {"sum16": "0143"}),
    ],
)
def test_published_checksum_figures(data, figures):
    sums = checksums_of(data)
    assert {name: sums[name] for name in figures} == figures


def test_srec_cat_computes_the_same_crc_32(program, tmp_path):
    srec_cat = program("srec_cat")
    image = np.random.default_rng(6).bytes(4096)
    (tmp_path / "in").write_bytes(image)
    command = [srec_cat, tmp_path / "in", "-binary", "-crc32-b-e", "4096", "-crop", "4096", "4100"]
    command += ["-offset", "-4096", "-o", tmp_path / "out", "-binary"]
    subprocess.run(command, check=True, capture_output=True)
    assert (tmp_path / "out").read_bytes().hex().upper() == checksums_of(image)["crc32"]


def decode_png(data: bytes) -> tuple[np.ndarray, np.ndarray | None]:
    """Read a non-interlaced PNG by the W3C recommendation alone: samples, and the palette of an indexed one."""
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    at, packed, palette, header = 8, b"", None, None
    while at < len(data):
        (length,), kind = struct.unpack(">I", data[at : at + 4]), data[at + 4 : at + 8]
        body = data[at + 8 : at + 8 + length]
        assert zlib.crc32(kind + body) == struct.unpack(">I", data[at + 8 + length : at + 12 + length])[0]
        if kind == b"IHDR":
            header = struct.unpack(">IIBBBBB", body)
        elif kind == b"PLTE":
            palette = np.frombuffer(body, np.uint8).reshape(-1, 3)
        elif kind == b"IDAT":
            packed += body
        at += 12 + length
    width, height, depth, colour, *rest = header
    assert rest == [0, 0, 0]
    channels = {2: 3, 3: 1}[colour]
    stride, step = (width * channels * depth + 7) // 8, max(1, channels * depth // 8)
    raw = np.frombuffer(zlib.decompress(packed), np.uint8).reshape(height, stride + 1)
    rows = np.zeros((height + 1, stride + step), dtype=np.int64)
    for y, (kind, *line) in enumerate(raw.tolist(), start=1):
        for x, value in enumerate(line, start=step):
            a, b, c = int(rows[y, x - step]), int(rows[y - 1, x]), int(rows[y - 1, x - step])
            near = min((abs(b - c), 0, a), (abs(a - c), 1, b), (abs(a + b - 2 * c), 2, c))[2]
            rows[y, x] = (value + (0, a, b, (a + b) // 2, near)[kind]) & 0xFF
    bits = np.unpackbits(rows[1:, step:].astype(np.uint8), axis=1)[:, : width * channels * depth]
    samples = bits.reshape(height, width * channels, depth) @ (1 << np.arange(depth)[::-1])
    return samples.reshape(height, width, channels).squeeze(), palette


def test_screens_are_png_files_by_the_recommendation():
    rng = np.random.default_rng(7)
    few = rng.integers(0, 256, (5, 3), dtype=np.uint8)[rng.integers(0, 5, (31, 45))]
    samples, palette = decode_png(to_png(few))
    assert (palette[samples] == few).all()
    many = rng.integers(0, 256, (31, 45, 3), dtype=np.uint8)
    samples, palette = decode_png(to_png(many))
    assert palette is None
    assert (samples == many).all()
    assert to_png(many) == to_png(many)


def test_indexed_pictures_hold_the_codes_and_the_boards_colours(board, banked):
    contents = banked(board, (0, 2))
    files = indexed_png(contents, board)
    assert [file.name for file in files] == ["bank0.png", "bank2.png"]
    words = contents.memories["picture"].words
    for file, bank in zip(files, (0, 2), strict=True):
        samples, palette = decode_png(file.data)
        assert (samples == words[bank << 15 :][: 128 << 8].reshape(128, 256)[:120, :160] & 63).all()
        assert (palette[:64] == board.palette.srgb8).all()
