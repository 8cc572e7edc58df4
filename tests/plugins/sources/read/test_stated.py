"""What a PNG states of its colours, against the library colour-science; and odd depths, written by hand."""

from __future__ import annotations

import struct
import warnings
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from ladderlight import Demand, PictureError
from ladderlight.board import linear_from_srgb
from ladderlight_stages.sources.read.stage import read

SAMPLES = np.random.default_rng(2).integers(0, 65536, (6, 7, 3), dtype=np.uint16)


def converted(light: np.ndarray, space: str) -> np.ndarray:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        spaces = colour.RGB_COLOURSPACES
        result = colour.RGB_to_RGB(light, spaces[space], spaces["sRGB"], chromatic_adaptation_transform="Bradford")
    return np.clip(result, 0, 1)


@pytest.mark.parametrize(
    ("code", "space", "exponent"),
    [
        ((12, 13), "P3-D65", None),
        ((12, 8), "P3-D65", 1.0),
        ((9, 4), "ITU-R BT.2020", 2.2),
        ((11, 5), "DCI-P3", 2.8),
        ((1, 1), "sRGB", 2.4),
    ],
)
def test_coding_of_wide_gamuts(tmp_path, read_one, write_png16, code, space, exponent) -> None:
    """ITU-T H.273, tables 2 and 3; the conversion is colour-science's."""
    path = tmp_path / "wide.png"
    write_png16(path, SAMPLES, extra=bytes([*code, 0, 1]), kind=b"cICP")
    light = linear_from_srgb(SAMPLES / 65535) if exponent is None else (SAMPLES / 65535) ** exponent
    np.testing.assert_allclose(read_one(path).pixels, converted(light, space), atol=2e-3)
    np.testing.assert_allclose(read_one(path, profile="ignore").pixels, linear_from_srgb(SAMPLES / 65535), atol=1e-6)


@pytest.mark.parametrize("code", [(9, 16, 0, 1), (9, 18, 0, 1), (1, 13, 1, 1), (1, 13, 0, 0), (2, 2, 0, 1)])
def test_codings_that_are_not_known_are_refused(tmp_path, read_one, write_png16, code) -> None:
    write_png16(tmp_path / "hdr.png", SAMPLES, extra=bytes(code), kind=b"cICP")
    with pytest.raises(PictureError, match=r"of ITU-T H\.273, which is not supported; save it as sRGB, or set profile"):
        read_one(tmp_path / "hdr.png")


def chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def write_png(path: Path, depth: int, kind: int, rows: list[bytes], width: int, *chunks: bytes) -> None:
    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, len(rows), depth, kind, 0, 0, 0))
    data = chunk(b"IDAT", zlib.compress(b"".join(b"\0" + row for row in rows)))
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + header + b"".join(chunks) + data + chunk(b"IEND", b""))


GAMMA_1 = chunk(b"gAMA", struct.pack(">I", 100000))
ADOBE = chunk(b"cHRM", struct.pack(">8I", 31270, 32900, 64000, 33000, 21000, 71000, 15000, 6000))


def test_order_of_precedence(tmp_path, read_one) -> None:
    """W3C PNG, third edition, section 4.3: cICP, iCCP, sRGB, then gAMA and cHRM."""
    rows = (SAMPLES >> 8).astype(np.uint8)
    srgb, coded = chunk(b"sRGB", b"\0"), chunk(b"cICP", bytes([1, 13, 0, 1]))
    as_srgb, as_light = linear_from_srgb(rows / 255), rows / 255
    wide = chunk(b"cICP", bytes([12, 13, 0, 1]))
    profile = chunk(b"iCCP", b"x\0\0" + zlib.compress(b"broken"))
    for chunks, wanted in (
        ((GAMMA_1,), as_light),
        ((srgb, GAMMA_1, ADOBE), as_srgb),
        ((coded, GAMMA_1), as_srgb),
        ((wide, srgb), converted(as_srgb, "P3-D65")),
        ((coded, profile), as_srgb),
        ((GAMMA_1, ADOBE), converted(as_light, "Adobe RGB (1998)")),
        ((chunk(b"gAMA", bytes(4)),), as_srgb),
        ((chunk(b"cHRM", bytes(32)),), as_srgb),
    ):
        write_png(tmp_path / "p.png", 8, 2, [row.tobytes() for row in rows], 7, *chunks)
        np.testing.assert_allclose(read_one(tmp_path / "p.png").pixels, wanted, atol=2e-3)


@pytest.mark.parametrize("depth", [1, 2, 4])
def test_a_transparent_grey_of_few_bits(tmp_path, read_one, depth) -> None:
    """The key is a sample as stored (W3C PNG, section 11.3.1.1), not one that has been spread over 8 bits."""
    top = 2**depth - 1
    grey = np.arange(8 * 8).reshape(8, 8) % (top + 1)
    rows = [int("".join(format(v, f"0{depth}b") for v in row), 2).to_bytes(depth, "big") for row in grey]
    write_png(tmp_path / "g.png", depth, 0, rows, 8, chunk(b"tRNS", struct.pack(">H", 1)))
    wanted = np.where(grey == 1, linear_from_srgb(np.array(0.5019608)), linear_from_srgb(grey / top))
    np.testing.assert_allclose(read_one(tmp_path / "g.png", matte="#808080").pixels[:, :, 0], wanted, atol=1e-6)


@pytest.mark.parametrize("white", [65535, 1023, 256])
@pytest.mark.parametrize("channels", [1, 3])
def test_two_bytes_a_sample_of_netpbm_files(tmp_path, read_one, white, channels) -> None:
    """The manual pages ppm(5) and pgm(5): above 255, two bytes, the upper one first."""
    values = np.random.default_rng(1).integers(0, white + 1, (5, 6, channels))
    kind = {1: "P5", 3: "P6"}[channels]
    data = f"{kind}\n# a comment\n6 5\n{white}\n".encode() + values.astype(">u2").tobytes()
    (tmp_path / "n.ppm").write_bytes(data)
    wanted = np.broadcast_to(linear_from_srgb(values / white), (5, 6, 3))
    np.testing.assert_allclose(read_one(tmp_path / "n.ppm").pixels, wanted, atol=2e-5)
    (tmp_path / "n.ppm").write_bytes(data[:-5])
    with pytest.raises(PictureError, match=r"^PPM: broken or cut short; save or copy it again$"):
        read_one(tmp_path / "n.ppm")


def run_lengths(values: np.ndarray, depth: int) -> bytes:
    """Each pixel a run of its own, rows from the lowest up (the format's BI_RLE8 and BI_RLE4)."""
    shift = 8 - depth
    lines = (b"".join(bytes([1, int(v) << shift]) for v in row) + b"\0\0" for row in values[::-1])
    return b"".join(lines) + b"\0\1"


@pytest.mark.parametrize("depth", [4, 8])
def test_run_lengths_of_a_bmp(tmp_path, read_one, depth) -> None:
    colours = np.array([[0, 0, 0], [255, 0, 0], [0, 255, 0], [10, 20, 30]], dtype=np.uint8)
    values = np.random.default_rng(0).integers(0, 4, (6, 9))
    data, table = run_lengths(values, depth), b"".join(bytes([*colour[::-1], 0]) for colour in colours)
    start = 54 + len(table)
    header = struct.pack("<IiiHHIIiiII", 40, 9, 6, 1, depth, 1 if depth == 8 else 2, len(data), 0, 0, 4, 0)
    (tmp_path / "r.bmp").write_bytes(
        b"BM" + struct.pack("<IHHI", start + len(data), 0, 0, start) + header + table + data
    )
    wanted = linear_from_srgb(colours[values] / 255)
    np.testing.assert_allclose(read_one(tmp_path / "r.bmp").pixels, wanted, atol=1e-6)


def test_a_long_text_in_a_png_does_no_harm(tmp_path, read_one) -> None:
    text = chunk(b"zTXt", b"history\0\0" + zlib.compress(b"x" * 5_000_000))
    write_png(tmp_path / "t.png", 8, 0, [b"\xff"], 1, text)
    assert read_one(tmp_path / "t.png").pixels.tolist() == [[[1, 1, 1]]]


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("a.png", b""),
        ("a.tif", b"II*\0"),
        ("a.tif", b"II*\0\x08\0\0\0"),
        ("a.ppm", b"P6\n0 0\n255\n"),
        (
            "a.gif",
            b"GIF89a" + struct.pack("<HHBBB", 65535, 65535, 0, 0, 0) + b"," + bytes(4) + b"\xff" * 4 + b"\0\2\0;",
        ),
        (
            "a.bmp",
            b"BM" + struct.pack("<IHHI", 100, 0, 0, 54) + struct.pack("<IiiHHIIiiII", 40, -5, 5, 1, 24, *[0] * 6),
        ),
    ],
)
def test_nothing_and_too_much_is_one_line(tmp_path, read_one, name, data) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(PictureError, match=r"^[^\n]+; [^\n]+$"):
        read_one(tmp_path / name)


def test_disposal_of_an_animated_pngs_frames(tmp_path) -> None:
    """W3C PNG, third edition, section 11.3.6.2: 0 leaves a frame, 1 clears its region, 2 puts back what was there."""
    red, green, blue = ((255, 0, 0, 255), (0, 255, 0, 255), (0, 0, 255, 255))

    def control(number: int, width: int, x: int, disposal: int) -> bytes:
        return chunk(b"fcTL", struct.pack(">IIIIIHHBB", number, width, 1, x, 0, 1, 10, disposal, 0))

    def pixels(*colours: tuple[int, ...]) -> bytes:
        return zlib.compress(b"\0" + b"".join(bytes(colour) for colour in colours))

    path = tmp_path / "a.png"
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">IIBBBBB", 3, 1, 8, 6, 0, 0, 0))
        + chunk(b"acTL", struct.pack(">II", 4, 0))
        + control(0, 3, 0, 0)
        + chunk(b"IDAT", pixels(red, red, red))
        + control(1, 1, 0, 2)
        + chunk(b"fdAT", struct.pack(">I", 2) + pixels(green))
        + control(3, 1, 1, 1)
        + chunk(b"fdAT", struct.pack(">I", 4) + pixels(blue))
        + control(5, 1, 2, 0)
        + chunk(b"fdAT", struct.pack(">I", 6) + pixels(green))
        + chunk(b"IEND", b"")
    )
    rows = ["".join("rgb"[int(p.argmax())] if p.any() else "-" for p in f.pixels[0]) for f in read(path, Demand())]
    assert rows == ["rrr", "grr", "rbr", "r-g"]


def test_disposal_of_a_gifs_frames(tmp_path) -> None:
    """GIF89a, section 23: 1 leaves a frame, 2 clears its region, 3 puts back what was there. Written by hand.

    Pixels of two bits are written without compression: each as a code of its own, and a clear code after every other.
    """

    def image(x: int, value: int, disposal: int) -> bytes:
        control = b"!\xf9\4" + bytes([disposal << 2, 10, 0, 0, 0])
        codes = [4, value, 5]  # clear, the pixel, end; three bits each, the lowest first
        bits = sum(code << (3 * at) for at, code in enumerate(codes))
        return control + b"," + struct.pack("<HHHHB", x, 0, 1, 1, 0) + b"\2\2" + struct.pack("<H", bits) + b"\0"

    whole = b"!\xf9\4\4\x0a\0\0\0," + struct.pack("<HHHHB", 0, 0, 3, 1, 0) + b"\2"
    codes = [4, 1, 1, 4, 1, 5]
    bits = sum(code << (3 * at) for at, code in enumerate(codes))
    whole += b"\3" + bits.to_bytes(3, "little") + b"\0"
    table = bytes([0, 0, 0, 255, 0, 0, 0, 255, 0, 0, 0, 255])
    path = tmp_path / "a.gif"
    path.write_bytes(
        b"GIF89a" + struct.pack("<HHBBB", 3, 1, 0x91, 0, 0) + table + whole
        + image(0, 2, 3) + image(1, 3, 2) + image(2, 2, 1) + b";"
    )  # fmt: skip
    rows = ["".join("rgb"[int(p.argmax())] if p.any() else "-" for p in f.pixels[0]) for f in read(path, Demand())]
    assert rows == ["rrr", "grr", "rbr", "r-g"]


def test_animated_webp_frames_are_put_together(tmp_path) -> None:
    """Each frame comes whole, whatever part of it the file stores; libwebp writes only what changes."""
    frames = [Image.new("RGB", (40, 20), (200, 30, 30)) for _ in range(3)]
    for step in (1, 2):
        frames[step].paste((20, 90, 220), (10 * step, 5, 10 * step + 8, 12))
    frames[0].save(tmp_path / "w.webp", save_all=True, append_images=frames[1:], duration=50, lossless=True)
    for frame, picture in zip(frames, read(tmp_path / "w.webp", Demand()), strict=True):
        np.testing.assert_allclose(picture.pixels, linear_from_srgb(np.asarray(frame) / 255), atol=1e-6)
        assert picture.origin.duration == pytest.approx(0.05)
