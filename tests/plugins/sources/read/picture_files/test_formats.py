"""Formats told apart by their first bytes."""

from __future__ import annotations

import gzip
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import features

from ladderlight import PictureError
from ladderlight.stages.declaration import declaration_of
from ladderlight_stages.sources.read.picture_files.formats import FORMATS, IN_WORDS, format_of
from ladderlight_stages.sources.read.stage import read

HEIC = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic"
MOVIE = b"\0\0\0\x18ftypisom\0\0\2\0isommp41"


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "empty, not a picture that can be read; copy it again"),
        (b"%PDF-1.7\n", "a PDF, not a picture that can be read; save its page as PNG"),
        (b'<?xml version="1.0"?>\n<svg width="9">', "an SVG, not a picture that can be read; save it as PNG"),
        (b'  <svg xmlns="http://www.w3.org/2000/svg">', "an SVG, not a picture that can be read; save it as PNG"),
        (b"<!DOCTYPE html>\n<html>", "a web page, not a picture that can be read; save the picture"),
        (MOVIE, "a video, not a picture that can be read; save its frames as PNG files, or as an animation"),
        (b"RIFF\0\0\0\0AVI LIST", "a video, not a picture that can be read; save its frames as PNG files, or as an"),
        (b"\x1a\x45\xdf\xa3\1", "a video, not a picture that can be read; save its frames"),
        (b"FUJIFILMCCD-RAW 0201", "a camera's raw file, not a picture that can be read; develop it to TIFF or PNG"),
        (b"\0\0\0\x18ftypcrx \0\0\0\1crx isom", "a camera's raw file, not a picture that can be read; develop it"),
        (b"v/1\1\2\0\0\0", "an OpenEXR picture, not a picture that can be read; save it as a TIFF of floats"),
        (b"\xff\x0a\xfa\x7f", "JPEG XL, not a picture that can be read; save it as PNG"),
        (b"PK\3\4\x14", "an archive, not a picture that can be read; unpack it"),
        (gzip.compress(b"tide", mtime=0), "an archive, not a picture that can be read; unpack it"),
        (b"high water 06:12", f"not a picture that can be read; use {IN_WORDS}"),
    ],
)
def test_other_files_are_named_by_what_is_in_them(tmp_path, read_one, data, message):
    path = tmp_path / "quay.png"
    path.write_bytes(data)
    with pytest.raises(PictureError) as caught:
        read_one(path)
    assert str(caught.value).startswith(message)


def test_heic_without_its_package(tmp_path, read_one, monkeypatch):
    monkeypatch.setitem(sys.modules, "pi_heif", None)  # as if it were not installed
    (tmp_path / "phone.heic").write_bytes(HEIC)
    with pytest.raises(PictureError, match=r"^HEIC: install ladderlight\[heif\]$"):
        read_one(tmp_path / "phone.heic")


@pytest.mark.parametrize(
    ("data", "feature", "name"),
    [
        (b"\0\0\0\x18ftypavif\0\0\0\0mif1avif", "avif", "AVIF"),
        (b"\xff\x4f\xff\x51", "jpg_2000", "JPEG 2000"),
        (b"RIFF\0\0\0\0WEBPVP8 ", "webp", "WebP"),
    ],
)
def test_what_the_installed_pillow_lacks(tmp_path, read_one, monkeypatch, data, feature, name):
    monkeypatch.setattr(features, "check", lambda asked: asked != feature)
    (tmp_path / "a").write_bytes(data)
    with pytest.raises(PictureError, match=f"^{name}: the installed Pillow lacks it; install Pillow from PyPI, or"):
        read_one(tmp_path / "a")


def test_brands_of_avif_and_heic():
    assert format_of(b"\0\0\0\x1cftypmif1\0\0\0\0avifmiafMA1B", Path("a")).name == "AVIF"
    assert format_of(HEIC, Path("a")).name == "HEIC"


def test_a_tga_goes_by_its_suffix():
    data = b"\0\0\2" + bytes(30)
    assert format_of(data, Path("buoy.TGA")).name == "TGA"
    with pytest.raises(PictureError, match=r"^not a picture"):
        format_of(data, Path("buoy.dat"))


def test_the_help_names_every_format():
    assert f"Read a picture file: {IN_WORDS}. " in declaration_of(read).help


def test_pillow_loads_only_what_a_file_needs(tmp_path, samples):
    from PIL import Image

    Image.fromarray(samples).save(tmp_path / "quay.png")
    late = [one.plugin for one in FORMATS if one.name not in ("PNG", "JPEG", "GIF", "BMP", "PPM", "TIFF")]
    program = (
        "import sys; from pathlib import Path; from ladderlight import Demand; "
        "from ladderlight_stages.sources.read.stage import read; "
        f"list(read(Path({str(tmp_path / 'quay.png')!r}), Demand())); print([m for m in {late} if m in sys.modules])"
    )
    shown = subprocess.run([sys.executable, "-c", program], check=True, capture_output=True, text=True).stdout
    assert shown == "[]\n"
