"""Camera raw files in TIFF containers: made by tifffile, as TIFF/EP (ISO 12234-2) and DNG 1.7 lay them out."""

from __future__ import annotations

import numpy as np
import pytest
import tifffile

from ladderlight import PictureError

THUMBNAIL = np.full((12, 16, 3), 90, dtype=np.uint8)
MOSAIC = np.zeros((40, 60), dtype=np.uint16)


def write_raw(path, *, make: str, photometric: int, big: bool = False, tags: tuple = ()) -> None:
    """A thumbnail, and the sensor's picture below it."""
    with tifffile.TiffWriter(path, bigtiff=big) as file:
        file.write(THUMBNAIL, photometric="rgb", subfiletype=1, subifds=1, extratags=[(271, "s", 0, make, True), *tags])
        file.write(MOSAIC if photometric == 32803 else np.dstack([MOSAIC] * 3), photometric=photometric)


@pytest.mark.parametrize("big", [False, True])
@pytest.mark.parametrize(
    ("make", "photometric", "name"),
    [
        ("NIKON CORPORATION", 32803, "NEF"),
        ("SONY", 32803, "ARW"),
        ("PENTAX", 32803, "PEF"),
        ("A maker", 32803, "camera"),
        ("A maker", 34892, "camera"),
    ],
)
def test_a_mosaic_below_a_thumbnail(tmp_path, read_one, make, photometric, name, big):
    write_raw(tmp_path / "a.nef", make=make, photometric=photometric, big=big)
    with pytest.raises(PictureError) as caught:
        read_one(tmp_path / "a.nef")
    kind = "" if name == "camera" else f" ({name})"
    assert str(caught.value) == f"a camera's raw file{kind}, not a picture yet; develop it to TIFF or PNG first"


def test_a_dng_by_its_version(tmp_path, read_one):
    tifffile.imwrite(tmp_path / "a.dng", THUMBNAIL, photometric="rgb", extratags=[(50706, "B", 4, b"\1\4\0\0", True)])
    with pytest.raises(PictureError, match=r"^a camera's raw file \(DNG\), not a picture yet; develop it to TIFF or"):
        read_one(tmp_path / "a.dng")


def test_a_cr2_by_its_mark(tmp_path, read_one):
    (tmp_path / "a.cr2").write_bytes(b"II*\0\x10\0\0\0CR\2\0" + bytes(60))
    with pytest.raises(PictureError, match=r"^a camera's raw file \(CR2\), not a picture yet; develop it to TIFF or"):
        read_one(tmp_path / "a.cr2")


def test_ordinary_tiffs_with_pictures_below_and_after_are_read(tmp_path, read_one):
    with tifffile.TiffWriter(tmp_path / "a.tif") as file:
        file.write(THUMBNAIL, photometric="rgb", subifds=1, extratags=[(271, "s", 0, "NIKON CORPORATION", True)])
        file.write(THUMBNAIL[:6, :8], photometric="rgb")
    assert read_one(tmp_path / "a.tif").pixels.shape == (12, 16, 3)
