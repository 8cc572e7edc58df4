"""What a file's header says, against what reading it gives."""

from __future__ import annotations

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageFile

from ladderlight import Demand, PictureError, Probe
from ladderlight.stages.declaration import declaration_of
from ladderlight_stages.sources.read.stage import probe, read

DEFAULTS = {option.name: option.default for option in declaration_of(read).options}


def probed(path, **options) -> Probe:
    return probe(path, {**DEFAULTS, **options})


def test_the_source_declares_it():
    assert declaration_of(read).hooks["probe"] is probe


@pytest.mark.parametrize("suffix", ["png", "jpg", "gif", "webp", "tif", "bmp", "ppm", "tga", "pcx"])
def test_nothing_is_decoded(tmp_path, samples, monkeypatch, suffix):
    path = tmp_path / f"quay.{suffix}"
    Image.fromarray(samples).save(path)

    def never(*_: object) -> None:
        raise AssertionError

    monkeypatch.setattr(ImageFile.ImageFile, "load_prepare", never)
    size = (32, 24)
    assert probed(path) == Probe(frames=1, width=size[0], height=size[1])


@pytest.mark.parametrize("suffix", ["gif", "png", "webp", "tif"])
@pytest.mark.parametrize("options", [{}, {"frames": "first"}, {"every": 2}, {"every": 3}, {"page": 4}])
def test_frames_are_counted_as_they_are_read(tmp_path, suffix, options):
    first, *rest = [Image.new("RGB", (40, 30), (0, 50 * number, 9)) for number in range(5)]
    path = tmp_path / f"tide.{suffix}"
    first.save(path, save_all=True, append_images=rest)
    assert probed(path, **options).frames == len(list(read(path, Demand(), **options)))


def test_turned_pictures_and_pages_of_several_sizes(tmp_path):
    exif = Image.Exif()
    exif[0x0112] = 6
    Image.new("RGB", (40, 30)).save(tmp_path / "turned.jpg", exif=exif)
    assert probed(tmp_path / "turned.jpg") == Probe(frames=1, width=30, height=40)
    with tifffile.TiffWriter(tmp_path / "log.tif") as file:
        file.write(np.zeros((12, 16, 3), np.uint8), photometric="rgb")
        file.write(np.zeros((3, 4), np.uint8), subfiletype=1)
        file.write(np.zeros((10, 50), np.float32))
    assert probed(tmp_path / "log.tif") == Probe(frames=2, width=50, height=12)


def test_a_profile_that_cannot_be_used(tmp_path):
    Image.new("RGB", (4, 4)).save(tmp_path / "a.png", icc_profile=b"not a profile")
    caution = "its colour profile is broken; its colours are taken as sRGB; save it with a profile that fits"
    assert probed(tmp_path / "a.png").caution == caution
    assert probed(tmp_path / "a.png", profile="ignore").caution == ""


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"P5 60000 60000 255\n", "60000x60000 pixels are more than 250 million; scale it down first"),
        (b"%PDF-1.7", "a PDF, not a picture that can be read; save its page as PNG"),
        (b"\x89PNG\r\n\x1a\n\0\0", "PNG: broken or cut short; save or copy it again"),
    ],
)
def test_it_refuses_what_reading_refuses(tmp_path, read_one, data, message):
    (tmp_path / "a").write_bytes(data)
    for refused in (probed, read_one):
        with pytest.raises(PictureError) as caught:
            refused(tmp_path / "a")
        assert str(caught.value) == message
    with pytest.raises(PictureError, match=r"^no such file; check the name$"):
        probed(tmp_path / "none.png")


def test_a_page_that_there_is_not(tmp_path, samples):
    Image.fromarray(samples).save(tmp_path / "quay.png")
    with pytest.raises(PictureError, match=r"^page = 2 is beyond its 1; choose one of 1 to 1$"):
        probed(tmp_path / "quay.png", page=2)
