"""Stages say which part of the file a picture shows: its pixels, which hold their own places in the file, agree."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from ladderlight import Demand, FilePart, Picture
from ladderlight.testing import run_stage
from ladderlight_stages.pictures.crop import crop
from ladderlight_stages.pictures.mirror import mirror
from ladderlight_stages.pictures.resize import resize
from ladderlight_stages.pictures.rotate import rotate
from ladderlight_stages.sources.read.stage import read

SIZE = 300, 200


def seen(picture: Picture) -> tuple[int, int, int, int]:
    """Return the box of the file's pixels that are in a picture: their places are in red and green."""
    x, y = np.rint(picture.pixels[..., 0] * 1000), np.rint(picture.pixels[..., 1] * 1000)
    return int(x.min()), int(y.min()), int(x.max()) + 1, int(y.max()) + 1


@pytest.fixture
def whole(picture, places) -> Picture:
    made = picture(places(*SIZE))
    return Picture(origin=made.origin, pixels=made.pixels, part=FilePart(size=SIZE))


CHAINS = {
    "edges and a corner": [(crop, {"left": 0.1, "top": 30, "keep": "bottom-right"})],
    "focus": [(crop, {"focus": [0.9, 0.2]})],
    "cropped again": [(crop, {"keep": "left", "right": 40}), (crop, {"left": 0.2, "top": 0.1})],
    "mirrored, then cropped": [(mirror, {"swap": "left-right"}), (crop, {"left": 0.3})],
    "turned round, then cropped": [(rotate, {"angle": 180}), (crop, {"left": 0.3, "bottom": 0.2})],
    "mirrored both ways, cropped, mirrored": [(mirror, {"swap": "both"}), (crop, {"right": 25}), (mirror, {})],
}


@pytest.mark.parametrize("chain", CHAINS.values(), ids=CHAINS)
def test_a_crop_is_where_its_pixels_come_from(board, whole, chain) -> None:
    result = whole
    for stage, options in chain:
        result = run_stage(stage, result, board, **options)
    assert result.part.crop == seen(result)
    assert result.part.crop != (0, 0, *SIZE)
    resized = run_stage(resize, result, board, fit="stretch")
    assert resized.part.crop == result.part.crop


def test_resize_cuts_and_frames(board, whole) -> None:
    cut = run_stage(resize, whole, board)
    width = 200 * 4 / 3
    assert cut.part.crop == pytest.approx((150 - width / 2, 0, 150 + width / 2, 200), abs=1)
    for framed in (run_stage(resize, whole, board, fit="contain"), run_stage(crop, whole, board, keep="all")):
        assert framed.part.crop == (0, 0, *SIZE)
        left, top, right, bottom = framed.part.box
        assert (left, right) == (0, 1)
        assert (bottom - top) * 200 == pytest.approx(300 * 3 / 4, abs=1)


@pytest.mark.parametrize("angle", [90, -90, 7])
def test_what_lies_askew_is_not_known(board, whole, angle) -> None:
    turned = run_stage(rotate, whole, board, angle=angle)
    assert turned.part == FilePart(size=SIZE, box=None)
    assert run_stage(crop, turned, board, left=0.2).part.crop is None


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
@pytest.mark.parametrize("demand", [Demand(), Demand(width=40, height=30)])
def test_the_size_is_that_of_the_upright_file_whatever_is_decoded_of_it(tmp_path, kind, orientation, demand) -> None:
    """EXIF orientations 5 to 8 lie on their side (Exif 2.32, tag 274)."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    data = io.BytesIO()
    Image.new("RGB", (800, 600), "teal").save(data, format=kind, exif=exif)
    path = tmp_path / "quay.picture"
    path.write_bytes(data.getvalue())
    (picture,) = read(path, demand)
    assert picture.part == FilePart(size=(600, 800) if orientation >= 5 else (800, 600))
    if demand.width:
        assert picture.pixels.shape[1] < picture.part.size[0]
