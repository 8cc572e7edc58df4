"""Picture formats against their specifications, decoded by hand, and against independent decoders."""

from __future__ import annotations

import struct
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image, features

from ladderlight import Demand
from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight_stages.sources.read.stage import read

RANDOM = np.random.default_rng(31)


def encoded(path: Path) -> np.ndarray:
    """The one picture of a file as sRGB of 8 bits."""
    (picture,) = read(path, Demand())
    return np.rint(srgb_from_linear(picture.pixels) * 255).astype(np.uint8)


def smooth(height: int = 40, width: int = 48) -> np.ndarray:
    y, x = np.mgrid[0:height, 0:width]
    return np.stack([x * 5, y * 6, (x * 3 + 200 - y * 5) // 2], axis=-1).astype(np.uint8)


def bmp16(words: np.ndarray, masks: tuple[int, int, int] | None) -> bytes:
    """A BMP of 16 bits a pixel, its rows from the bottom up (Microsoft, BITMAPINFOHEADER and Bitmap Storage)."""
    height, width = words.shape
    fields = b"" if masks is None else struct.pack("<III", *masks)
    header = struct.pack("<IiiHHIIiiII", 40, width, height, 1, 16, 3 if masks else 0, 0, 0, 0, 0, 0)
    rows = b"".join(row.astype("<u2").tobytes().ljust(-(-width * 2 // 4) * 4, b"\0") for row in words[::-1])
    start = 14 + len(header) + len(fields)
    return b"BM" + struct.pack("<IHHI", start + len(rows), 0, 0, start) + header + fields + rows


@pytest.mark.parametrize(
    ("masks", "bits"),
    [
        (None, (5, 5, 5)),  # Microsoft, BITMAPINFOHEADER: biBitCount 16 with BI_RGB is 5-5-5, blue lowest
        ((0x7C00, 0x03E0, 0x001F), (5, 5, 5)),
        ((0xF800, 0x07E0, 0x001F), (5, 6, 5)),
    ],
)
def test_bmp_of_16_bits(tmp_path, masks, bits):
    words = RANDOM.integers(0, 1 << sum(bits), (7, 9)).astype(np.uint16)
    (tmp_path / "a.bmp").write_bytes(bmp16(words, masks))
    _, green, blue = bits
    parts = (words >> (green + blue), words >> blue & (1 << green) - 1, words & (1 << blue) - 1)
    exact = np.stack([part / ((1 << count) - 1) for part, count in zip(parts, bits, strict=True)], axis=-1)
    assert np.abs(encoded(tmp_path / "a.bmp") - exact * 255).max() <= 1


@pytest.mark.parametrize("colour", [False, True])
@pytest.mark.parametrize("scale", ["-1.0", "1.0", "-0.25"])
def test_pfm(tmp_path, colour, scale):
    """pfm(5) of Netpbm: PF or Pf, rows from the bottom up, a negative scale is little endian, else it is a unit."""
    values = RANDOM.random((5, 6, 3 if colour else 1)).astype(np.float32)
    data = values[::-1].astype("<f4" if scale.startswith("-") else ">f4").tobytes()
    (tmp_path / "a.pfm").write_bytes(f"P{'F' if colour else 'f'}\n6 5\n{scale}\n".encode() + data)
    (picture,) = read(tmp_path / "a.pfm", Demand())
    np.testing.assert_array_equal(picture.pixels, np.broadcast_to(values, (5, 6, 3)))


def test_pfm_beyond_the_range(tmp_path):
    values = np.array([[7.5, -1.0, np.nan, 0.5]], dtype="<f4")
    (tmp_path / "a.pfm").write_bytes(b"Pf 4 1 -1\n" + values.tobytes())
    (picture,) = read(tmp_path / "a.pfm", Demand())
    assert picture.pixels[0, :, 1].tolist() == [1, 0, 0, 0.5]


@pytest.mark.parametrize("white", [256, 1023, 65535])
@pytest.mark.parametrize("channels", [1, 3])
def test_plain_netpbm_files(tmp_path, white, channels):
    """pgm(5) and ppm(5) of Netpbm, Plain PGM and Plain PPM; with comments, which older programs write there."""
    values = RANDOM.integers(0, white + 1, (4, 5, channels))
    lines = [" ".join(map(str, row.ravel())) + " # a row" for row in values]
    text = f"P{2 if channels == 1 else 3}\n# made by hand\n5 4\n{white}\n" + "\n".join(lines)
    (tmp_path / "a.pnm").write_text(text)
    (picture,) = read(tmp_path / "a.pnm", Demand())
    exact = np.broadcast_to(linear_from_srgb(values / white), picture.pixels.shape)
    np.testing.assert_allclose(picture.pixels, exact, atol=2e-5)


def test_plain_netpbm_files_without_a_line_break(tmp_path):
    values = RANDOM.integers(0, 65536, 600 * 400)
    (tmp_path / "a.pgm").write_text("P2 600 400 65535 " + " ".join(map(str, values)))
    (picture,) = read(tmp_path / "a.pgm", Demand())
    np.testing.assert_allclose(picture.pixels[:, :, 0].ravel(), linear_from_srgb(values / 65535), atol=2e-7)


@pytest.mark.parametrize("compression", [None, "zlib"])
def test_inks_in_planes_of_16_bits(tmp_path, compression):
    """TIFF 6.0, section 16: separated, ink 65535 covers all; cyan, magenta, yellow and black keep back their light."""
    inks = np.zeros((4, 6, 8), dtype=np.uint16)
    for ink in range(4):
        inks[ink, :, 2 * ink : 2 * ink + 2] = 65535
    tifffile.imwrite(
        tmp_path / "a.tif", inks, photometric="separated", planarconfig="separate", compression=compression
    )
    expected = [(0, 255, 255), (255, 0, 255), (255, 255, 0), (0, 0, 0)]
    assert [tuple(pixel) for pixel in encoded(tmp_path / "a.tif")[0, ::2].tolist()] == expected


def test_qoi(tmp_path):
    """The Quite OK Image Format specification, by imagecodecs (C. Gohlke), which has a codec of its own."""
    samples = np.repeat(smooth(), 3, axis=1)
    (tmp_path / "a.qoi").write_bytes(imagecodecs.qoi_encode(samples))
    np.testing.assert_array_equal(encoded(tmp_path / "a.qoi"), samples)


@pytest.mark.skipif("jpg_2000" not in features.get_supported(), reason="this Pillow has no JPEG 2000")
@pytest.mark.parametrize("suffix", ["jp2", "j2k"])
def test_jpeg_2000(tmp_path, suffix):
    samples = smooth()
    (tmp_path / f"a.{suffix}").write_bytes(imagecodecs.jpeg2k_encode(samples, reversible=True, codecformat=suffix))
    np.testing.assert_array_equal(encoded(tmp_path / f"a.{suffix}"), samples)


@pytest.mark.skipif("jpg_2000" not in features.get_supported(), reason="this Pillow has no JPEG 2000")
def test_grey_jpeg_2000_of_16_bits(tmp_path):
    samples = RANDOM.integers(0, 65536, (20, 24)).astype(np.uint16)
    (tmp_path / "a.jp2").write_bytes(imagecodecs.jpeg2k_encode(samples, reversible=True, codecformat="jp2"))
    (picture,) = read(tmp_path / "a.jp2", Demand())
    np.testing.assert_allclose(picture.pixels[:, :, 1], linear_from_srgb(samples / 65535), atol=2e-7)


@pytest.mark.skipif("avif" not in features.get_supported(), reason="this Pillow has no AVIF")
def test_avif(tmp_path):
    data = imagecodecs.avif_encode(smooth(), level=90, speed=8)
    (tmp_path / "a.avif").write_bytes(data)
    difference = encoded(tmp_path / "a.avif").astype(int) - imagecodecs.avif_decode(data)
    assert np.abs(difference).max() <= 2  # two libraries, each with its own rounding


def test_heic(tmp_path):
    """A picture of two halves, red (200, 40, 40) and blue (40, 40, 200), as an HEVC encoder (x265) wrote it."""
    pytest.importorskip("pi_heif")
    path = Path(__file__).with_name("halves.heic")
    np.testing.assert_allclose(encoded(path)[8, [2, 29]].astype(int), [(200, 40, 40), (40, 40, 200)], atol=2)


@pytest.mark.parametrize("runs", [False, True])
def test_tga(tmp_path, runs):
    """Truevision TGA File Format Specification 2.0: type 2 or 10, blue first, origin at the lower left, runs."""
    samples = np.repeat(smooth(6, 4), 3, axis=1)
    header = struct.pack("<BBBHHBHHHHBB", 0, 0, 10 if runs else 2, 0, 0, 0, 0, 0, 12, 6, 24, 0)
    pixels = [row[:, ::-1] for row in samples[::-1]]
    if runs:
        body = b"".join(b"\x82" + row[at].tobytes() for row in pixels for at in range(0, 12, 3))
    else:
        body = b"".join(row.tobytes() for row in pixels)
    (tmp_path / "a.tga").write_bytes(header + body)
    np.testing.assert_array_equal(encoded(tmp_path / "a.tga"), samples)


def test_pcx(tmp_path):
    """ZSoft, PCX File Format, revision 5: three planes a line, runs of two upper bits and a count."""
    samples = smooth(5, 6)
    header = struct.pack("<BBBBHHHHHH", 10, 5, 1, 8, 0, 0, 5, 4, 72, 72) + bytes(48)
    header += struct.pack("<BBHH", 0, 3, 6, 1) + bytes(58)
    body = b"".join(b"\xc1" + bytes([value]) for row in samples for plane in row.T for value in plane.tolist())
    (tmp_path / "a.pcx").write_bytes(header.ljust(128, b"\0") + body)
    np.testing.assert_array_equal(encoded(tmp_path / "a.pcx"), samples)


def test_xbm(tmp_path):
    """Xlib, XReadBitmapFile: the lowest bit is leftmost, a bit of 1 is the foreground, which is black on white."""
    text = "#define a_width 10\n#define a_height 2\nstatic char a_bits[] = {\n0x01, 0x02, 0xf0, 0x00 };\n"
    (tmp_path / "a.xbm").write_text(text)
    black = [(0, 0), (0, 9), (1, 4), (1, 5), (1, 6), (1, 7)]
    assert [tuple(place) for place in np.argwhere(encoded(tmp_path / "a.xbm")[:, :, 0] == 0).tolist()] == black


def test_ico(tmp_path):
    """Microsoft, Icons: the largest picture of the file, its mask transparent."""
    image = Image.fromarray(np.dstack([smooth(32, 32), np.full((32, 32), 255, np.uint8)]), "RGBA")
    image.save(tmp_path / "a.ico", sizes=[(16, 16), (32, 32)])
    np.testing.assert_array_equal(encoded(tmp_path / "a.ico"), smooth(32, 32))


@pytest.mark.parametrize("layers", [False, True])
def test_the_flat_picture_of_a_psd(tmp_path, layers):
    """Adobe Photoshop File Formats Specification: header, colour mode, resources, layers, then the merged picture."""
    samples = smooth(6, 8)
    header = b"8BPS\0\1" + bytes(6) + struct.pack(">HIIHH", 3, 6, 8, 8, 3)
    layer = struct.pack(">4iH", 0, 0, 1, 1, 3) + b"".join(struct.pack(">hI", channel, 3) for channel in range(3))
    layer += b"8BIMnorm" + bytes([255, 0, 0, 0]) + struct.pack(">I", 12) + bytes(8) + b"\1a\0\0"
    info = struct.pack(">h", 1) + layer + 3 * (bytes(2) + b"\xff")
    info += bytes(len(info) % 2)
    section = struct.pack(">I", len(info)) + info + bytes(4) if layers else b""
    body = b"\0\0" + np.moveaxis(samples, 2, 0).tobytes()
    (tmp_path / "a.psd").write_bytes(header + bytes(8) + struct.pack(">I", len(section)) + section + body)
    np.testing.assert_array_equal(encoded(tmp_path / "a.psd"), samples)
