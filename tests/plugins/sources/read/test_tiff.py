"""TIFFs beyond what Pillow decodes, written by tifffile, whose compressions are imagecodecs' (both C. Gohlke)."""

from __future__ import annotations

import sys

import numpy as np
import pytest
import tifffile

from ladderlight import Demand, PictureError
from ladderlight.board import linear_from_srgb
from ladderlight_stages.sources.read.stage import read

DEEP = np.random.default_rng(5).integers(0, 65536, (20, 30, 3), dtype=np.uint16)
LIGHT = np.random.default_rng(6).random((20, 30, 3)).astype(np.float32)


@pytest.mark.parametrize("compression", [None, "zlib", "lzw", "packbits", "zstd", "lzma"])
@pytest.mark.parametrize("planes", ["contig", "separate"])
def test_all_16_bits_of_any_compression_and_order_of_planes(tmp_path, read_one, compression, planes) -> None:
    values = DEEP if planes == "contig" else np.moveaxis(DEEP, 2, 0)
    predictor = 2 if compression in ("zlib", "lzw") else None
    tifffile.imwrite(
        tmp_path / "deep.tif",
        values,
        photometric="rgb",
        planarconfig=planes,
        compression=compression,
        predictor=predictor,
    )
    np.testing.assert_allclose(read_one(tmp_path / "deep.tif").pixels, linear_from_srgb(DEEP / 65535), atol=2e-7)


@pytest.mark.parametrize("kind", ["float16", "float32", "float64"])
@pytest.mark.parametrize(
    "options", [{}, {"planarconfig": "separate"}, {"compression": "zlib", "predictor": 3}, {"tile": (16, 16)}]
)
def test_floats_are_linear_light(tmp_path, read_one, kind, options) -> None:
    values = LIGHT.astype(kind)
    written = np.moveaxis(values, 2, 0) if "planarconfig" in options else values
    tifffile.imwrite(tmp_path / "f.tif", written, photometric="rgb", **options)
    np.testing.assert_allclose(read_one(tmp_path / "f.tif").pixels, values.astype(np.float32), atol=1e-7)


def test_grey_floats_white_first_and_beyond_the_range(tmp_path, read_one) -> None:
    values = np.array([[0.0, 0.25, 1.0, 7.5, -1.0, np.nan]], dtype=np.float32)
    tifffile.imwrite(tmp_path / "black.tif", values, photometric="minisblack")
    assert read_one(tmp_path / "black.tif").pixels[0, :, 1].tolist() == [0, 0.25, 1, 1, 0, 0]
    tifffile.imwrite(tmp_path / "white.tif", values, photometric="miniswhite")
    assert read_one(tmp_path / "white.tif").pixels[0, :4, 1].tolist() == [1, 0.75, 0, 0]


def test_32_bits_fill_their_range(tmp_path, read_one) -> None:
    values = np.array([[[0, 2**31, 2**32 - 1]]], dtype=np.uint32)
    tifffile.imwrite(tmp_path / "w.tif", values, photometric="rgb")
    wanted = linear_from_srgb(np.array([0, 0.5, 1]))
    np.testing.assert_allclose(read_one(tmp_path / "w.tif").pixels[0, 0], wanted, atol=2e-5)


@pytest.mark.parametrize("kind", ["unassalpha", "assocalpha"])
def test_alpha_beside_floats(tmp_path, read_one, kind) -> None:
    colour, alpha = np.array([0.8, 0.4, 0.2], dtype=np.float32), np.float32(0.5)
    stored = colour * alpha if kind == "assocalpha" else colour
    values = np.append(stored, alpha).reshape(1, 1, 4).astype(np.float32)
    tifffile.imwrite(tmp_path / "a.tif", values, photometric="rgb", extrasamples=[kind])
    np.testing.assert_allclose(read_one(tmp_path / "a.tif").pixels[0, 0], colour * 0.5, atol=1e-4)
    np.testing.assert_allclose(
        read_one(tmp_path / "a.tif", matte="#ffffff").pixels[0, 0], colour * 0.5 + 0.5, atol=1e-4
    )


def test_a_profile_says_how_floats_are_encoded(tmp_path, read_one) -> None:
    from PIL import ImageCms

    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    tifffile.imwrite(tmp_path / "f.tif", LIGHT, photometric="rgb", iccprofile=profile)
    decoded = read_one(tmp_path / "f.tif").pixels
    np.testing.assert_allclose(decoded, linear_from_srgb(LIGHT), atol=3e-3)
    np.testing.assert_allclose(read_one(tmp_path / "f.tif", profile="ignore").pixels, LIGHT, atol=1e-7)


def test_orientation(tmp_path, read_one) -> None:
    """Orientation 6: the first row is the right side (TIFF 6.0, section 8)."""
    tifffile.imwrite(tmp_path / "o.tif", LIGHT, photometric="rgb", extratags=[(274, "H", 1, 6, True)])
    np.testing.assert_allclose(read_one(tmp_path / "o.tif").pixels, np.rot90(LIGHT, -1), atol=1e-7)


def test_pages_of_all_kinds_and_sizes(tmp_path) -> None:
    eight = (LIGHT * 255).astype(np.uint8)
    with tifffile.TiffWriter(tmp_path / "pages.tif") as file:
        file.write(eight, photometric="rgb")
        file.write(LIGHT[:5, :7], photometric="rgb")
        file.write(LIGHT[:4, :4, 0], photometric="minisblack", subfiletype=1)  # a thumbnail
        file.write(DEEP[:, :9], photometric="rgb")
    pages = list(read(tmp_path / "pages.tif", Demand()))
    assert [page.pixels.shape[:2] for page in pages] == [(20, 30), (5, 7), (20, 9)]
    np.testing.assert_allclose(pages[0].pixels, linear_from_srgb(eight / 255), atol=1e-6)
    np.testing.assert_allclose(pages[1].pixels, LIGHT[:5, :7], atol=1e-7)
    np.testing.assert_allclose(pages[2].pixels, linear_from_srgb(DEEP[:, :9] / 65535), atol=1e-6)
    (second,) = read(tmp_path / "pages.tif", Demand(), page=2)
    np.testing.assert_array_equal(second.pixels, pages[1].pixels)
    assert len(list(read(tmp_path / "pages.tif", Demand(), every=2))) == 2


@pytest.mark.parametrize(
    ("values", "options", "words"),
    [
        (np.zeros((4, 4), np.int16), {}, "samples of int16 have no defined white; save it with 8 or 16 bits, or as f"),
        (np.zeros((4, 4), np.complex64), {}, "samples of complex64 have no defined white"),
        (np.zeros((3, 4, 4), np.float32), {"volumetric": True}, "a stack of slices in one page; save the slices as"),
        (np.zeros((4, 4, 4), np.float32), {"photometric": "separated"}, "float32 samples are neither grey nor RGB"),
    ],
)
def test_kinds_that_are_refused(tmp_path, read_one, values, options, words) -> None:
    tifffile.imwrite(tmp_path / "r.tif", values, **{"photometric": "minisblack", **options})
    with pytest.raises(PictureError, match=words):
        read_one(tmp_path / "r.tif")


def test_broken_and_vast_ones(tmp_path, read_one) -> None:
    path = tmp_path / "f.tif"
    tifffile.imwrite(path, LIGHT, photometric="rgb")
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(PictureError, match=r"^TIFF: broken or cut short; save or copy it again$"):
        read_one(path)
    tifffile.imwrite(path, LIGHT, photometric="rgb", software=None)
    with tifffile.TiffFile(path, mode="r+") as file:
        file.pages[0].tags[256].overwrite(60000)
        file.pages[0].tags[257].overwrite(60000)
    with pytest.raises(PictureError, match="60000x60000 pixels are more than 137 million; scale it down first"):
        read_one(path)


def test_a_compression_that_needs_more_is_said(tmp_path, read_one, monkeypatch) -> None:
    tifffile.imwrite(tmp_path / "f.tif", LIGHT, photometric="rgb", compression="lzw")

    def missing(*_: object, **__: object) -> None:
        raise ValueError("<COMPRESSION.LZW: 5> requires the 'imagecodecs' package")  # as tifffile says it

    monkeypatch.setattr(tifffile.TiffPage, "asarray", missing)
    with pytest.raises(PictureError, match=r"needs the package imagecodecs; install ladderlight\[tiff\], or save it"):
        read_one(tmp_path / "f.tif")


def test_other_files_do_not_load_the_library(tmp_path) -> None:
    import subprocess

    from PIL import Image

    Image.fromarray(np.zeros((4, 4, 3), np.uint8)).save(tmp_path / "plain.tif")
    program = (
        "import sys; from pathlib import Path; from ladderlight import Demand; "
        "from ladderlight_stages.sources.read.stage import read; "
        f"list(read(Path({str(tmp_path / 'plain.tif')!r}), Demand())); assert 'tifffile' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", program], check=True)
