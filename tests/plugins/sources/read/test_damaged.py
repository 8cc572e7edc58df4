"""Broken files that are used as far as they can be decoded."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from ladderlight import Demand, PictureError
from ladderlight.board import srgb_from_linear
from ladderlight_stages.sources.read.stage import read

CAUTION = "broken or cut short, and used as far as it can be decoded; copy or save it again"


@pytest.fixture
def large() -> np.ndarray:
    """A picture without a black pixel, uint8 (240, 320, 3)."""
    y, x = np.mgrid[0:240, 0:320]
    return np.stack([40 + x // 2, 40 + y // 2, 255 - y // 2], axis=-1).astype(np.uint8)


@pytest.mark.parametrize(
    ("name", "options", "tolerance"),
    [
        ("a.jpg", {"quality": 95, "subsampling": 0}, 12),
        ("a.png", {}, 0),
        ("a.bmp", {}, 0),
        ("a.ppm", {}, 0),
        ("a.tif", {}, 0),
        ("b.tif", {"compression": "tiff_lzw", "tiffinfo": {278: 16}}, 0),
        ("a.tga", {}, 0),
        ("a.gif", {}, 40),
    ],
)
def test_the_rows_before_the_damage_are_used(tmp_path, read_one, large, name, options, tolerance):
    path = tmp_path / name
    Image.fromarray(large).save(path, **options)
    data = path.read_bytes()
    cut = len(data) * 7 // 10
    # The last thing in a compressed TIFF is its directory.
    path.write_bytes(data[:cut] + (bytes(400) + data[cut + 400 :] if name == "b.tif" else b""))
    with pytest.raises(PictureError, match="broken or cut short; save or copy it again"):
        read_one(path)
    picture = read_one(path, damaged="use")
    assert picture.notes == {"caution": CAUTION}
    samples = np.rint(srgb_from_linear(picture.pixels) * 255).astype(int)
    rows = slice(-60, None) if name in ("a.bmp", "a.tga") else slice(0, 60)  # those begin below
    assert np.abs(samples[rows] - large[rows]).max() <= tolerance
    whole = np.abs(samples - large).max(axis=2) <= max(tolerance, 12)
    assert 0.3 < whole.mean() < 1


def test_a_progressive_jpeg_is_used_as_coarsely_as_it_came(tmp_path, read_one, large):
    Image.fromarray(large).save(tmp_path / "a.jpg", quality=95, progressive=True)
    data = (tmp_path / "a.jpg").read_bytes()
    (tmp_path / "a.jpg").write_bytes(data[: len(data) // 2])
    picture = read_one(tmp_path / "a.jpg", damaged="use")
    samples = np.rint(srgb_from_linear(picture.pixels) * 255).astype(int)
    assert np.abs(samples - large).mean() < 8
    assert picture.notes == {"caution": CAUTION}


def test_16_bits_of_a_png(tmp_path, read_one, write_png16):
    values = np.random.default_rng(3).integers(1, 65536, (90, 80, 3), dtype=np.uint16)
    write_png16(tmp_path / "deep.png", values)
    whole = read_one(tmp_path / "deep.png").pixels
    data = (tmp_path / "deep.png").read_bytes()
    (tmp_path / "deep.png").write_bytes(data[: len(data) * 7 // 10])
    picture = read_one(tmp_path / "deep.png", damaged="use")
    np.testing.assert_array_equal(picture.pixels[:50], whole[:50])
    assert picture.notes == {"caution": CAUTION}


@pytest.mark.parametrize("form", ["P5 40 30 65535\n", "Pf 40 30 -1\n"])
def test_netpbm_files_beyond_8_bits(tmp_path, read_one, form):
    values = np.full(40 * 20, 0.5 if "f" in form else 32768, "<f4" if "f" in form else ">u2")
    (tmp_path / "a.pnm").write_bytes(form.encode() + values.tobytes())
    with pytest.raises(PictureError, match=r"^PPM: broken or cut short; save or copy it again$"):
        read_one(tmp_path / "a.pnm")
    picture = read_one(tmp_path / "a.pnm", damaged="use")
    assert (picture.pixels > 0).all(axis=2).sum() == 40 * 20
    assert picture.notes == {"caution": CAUTION}


def test_the_frames_before_the_damage_are_used(tmp_path):
    random = np.random.default_rng(2)
    frames = [Image.fromarray(random.integers(0, 256, (60, 80, 3), dtype=np.uint8)) for _ in range(4)]
    frames[0].save(tmp_path / "tide.gif", save_all=True, append_images=frames[1:], duration=80)
    data = (tmp_path / "tide.gif").read_bytes()
    (tmp_path / "tide.gif").write_bytes(data[: len(data) * 6 // 10])
    with pytest.raises(PictureError, match=r"^GIF: broken or cut short; save or copy it again$"):
        list(read(tmp_path / "tide.gif", Demand()))
    pictures = list(read(tmp_path / "tide.gif", Demand(), damaged="use"))
    assert len(pictures) == 2
    assert [picture.notes for picture in pictures] == [{}, {"caution": CAUTION}]
    assert [picture.origin.duration for picture in pictures] == [0.08, 0.08]


@pytest.mark.parametrize("share", [0.02, 0.3])
def test_a_file_of_which_nothing_can_be_decoded_is_refused_still(tmp_path, read_one, large, share):
    Image.fromarray(large).save(tmp_path / "a.webp")
    data = (tmp_path / "a.webp").read_bytes()
    (tmp_path / "a.webp").write_bytes(data[: int(len(data) * share)])
    with pytest.raises(PictureError, match=r"^WebP: broken or cut short; save or copy it again$"):
        read_one(tmp_path / "a.webp", damaged="use")
    Image.fromarray(large).save(tmp_path / "a.png")
    (tmp_path / "a.png").write_bytes((tmp_path / "a.png").read_bytes()[:60])
    with pytest.raises(PictureError, match=r"^PNG: broken or cut short; save or copy it again$"):
        read_one(tmp_path / "a.png", damaged="use")


@pytest.mark.parametrize("suffix", ["jpg", "png", "gif", "webp", "tif"])
def test_whole_files_are_read_alike(tmp_path, read_one, large, suffix):
    Image.fromarray(large).save(tmp_path / f"a.{suffix}")
    plain, used = read_one(tmp_path / f"a.{suffix}"), read_one(tmp_path / f"a.{suffix}", damaged="use")
    np.testing.assert_array_equal(plain.pixels, used.pixels)
    assert used.notes == {}
