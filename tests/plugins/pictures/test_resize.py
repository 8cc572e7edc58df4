"""Resizing: size, linear light, proportions, exact pictures, and what reduced decoding costs."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image
from skimage import data
from skimage.color import deltaE_ciede2000, rgb2lab

from ladderlight import Demand
from ladderlight.board import srgb_from_linear
from ladderlight_stages.halftone.exact import exact_codes
from ladderlight_stages.pictures.crop import crop
from ladderlight_stages.pictures.crop import demanded as demanded_by_crop
from ladderlight_stages.pictures.resize import demanded, resize
from ladderlight_stages.sources.read.stage import read

METHODS = ["lanczos", "area", "bicubic", "bilinear", "nearest"]


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("size", [(640, 480), (333, 250), (100, 75), (1, 1)])
def test_any_size_becomes_the_boards(board, picture, method, size):
    result = resize(picture(size=size), board, method=method)
    assert result.pixels.shape == (120, 160, 3)
    assert result.pixels.dtype == np.float32
    assert result.pixels.flags.c_contiguous
    assert result.pixels.min() >= 0
    assert result.pixels.max() <= 1


@pytest.mark.parametrize("method", METHODS)
def test_plain_colour_stays(board, picture, method):
    result = resize(picture(np.full((501, 668, 3), (0.2, 0.5, 0.9))), board, method=method)
    np.testing.assert_allclose(result.pixels, np.broadcast_to((0.2, 0.5, 0.9), (120, 160, 3)), rtol=1e-6)


@pytest.mark.parametrize("method", ["lanczos", "area", "bicubic", "bilinear"])
def test_fine_stripes_mix_in_linear_light(board, picture, method):
    stripes = np.zeros((480, 640, 3))
    stripes[:, ::2] = 1
    result = resize(picture(stripes), board, method=method)
    # Half the light. Mixed in encoded values it would be 0.214 of it.
    np.testing.assert_allclose(result.pixels[:, 4:-4], 0.5, atol=0.01)


def test_area_is_the_mean_of_what_a_pixel_covers(board, picture):
    source = np.random.default_rng(9).random((180, 240, 3))
    result = resize(picture(source), board, method="area").pixels
    # 1.5 source pixels each way: corner pixels count whole, halves shared. Worked out by enlarging both by two.
    fine = source.repeat(2, axis=0).repeat(2, axis=1)
    expected = fine.reshape(120, 3, 160, 3, 3).mean(axis=(1, 3))
    np.testing.assert_allclose(result, expected, atol=1e-6)


@pytest.mark.parametrize(
    ("method", "kernel"),
    [
        ("lanczos", Image.Resampling.LANCZOS),
        ("bicubic", Image.Resampling.BICUBIC),
        ("bilinear", Image.Resampling.BILINEAR),
        ("nearest", Image.Resampling.NEAREST),
    ],
)
@pytest.mark.parametrize("size", [(400, 300), (1001, 751), (90, 67)])
def test_kernels_agree_with_pillows(board, picture, method, kernel, size):
    source = picture(size=size)
    result = resize(source, board, method=method, fit="stretch")
    for channel in range(3):
        plane = Image.fromarray(np.ascontiguousarray(source.pixels[:, :, channel]))
        expected = np.clip(np.asarray(plane.resize((160, 120), kernel)), 0, 1)
        np.testing.assert_allclose(result.pixels[:, :, channel], expected, atol=3e-6)


def test_wide_pixels_keep_a_circle_round(wide_pixels, picture):
    y, x = np.mgrid[0:600, 0:800]
    disc = ((x - 399.5) ** 2 + (y - 299.5) ** 2 < 200**2)[:, :, np.newaxis].repeat(3, axis=2)
    pixels = resize(picture(disc), wide_pixels).pixels[:, :, 0]
    assert pixels.shape == (120, 80)
    across, down = (pixels[60] > 0.5).sum(), (pixels[:, 40] > 0.5).sum()
    assert across * 2 == pytest.approx(down, abs=2)


def test_other_proportions_are_not_distorted_unasked(board, picture, places):
    wide = places(800, 300)
    covered = resize(picture(wide), board).pixels
    assert covered[60, 0, 0] == pytest.approx(0.201, abs=0.002)  # 200 pixels cut off on the left
    contained = resize(picture(np.full((300, 800, 3), 0.5)), board, fit="contain", border="white").pixels
    np.testing.assert_allclose(contained[:26], 1, atol=1e-6)  # 150 of 600 rows, and no ringing yet
    np.testing.assert_allclose(contained[60], 0.5, atol=0.01)
    stretched = resize(picture(wide), board, fit="stretch").pixels
    assert stretched[60, 0, 0] == pytest.approx(0.002, abs=0.002)
    assert stretched[60, -1, 0] == pytest.approx(0.797, abs=0.002)


def test_a_pixel_too_much_is_scaled_not_cut(board, picture, places):
    result = resize(picture(places(401, 300)), board).pixels
    assert result[60, 0, 0] * 1000 == pytest.approx(0.75, abs=0.4)
    assert result[60, -1, 0] * 1000 == pytest.approx(399.25, abs=0.4)


@pytest.mark.parametrize("method", METHODS)
def test_the_right_size_is_untouched(board, picture, method):
    source = picture(size=(160, 120))
    assert resize(source, board, method=method) is source


@pytest.mark.parametrize("factors", [(2, 2), (4, 4), (3, 1)])
def test_an_enlarged_picture_comes_back_exactly(board, picture, factors):
    small = picture(size=(160, 120))
    large = picture(small.pixels.repeat(factors[0], axis=1).repeat(factors[1], axis=0))
    np.testing.assert_array_equal(resize(large, board).pixels, small.pixels)


def test_a_drawn_picture_passes_from_file_to_its_codes(tmp_path, board, wide_pixels):
    for target in (board, wide_pixels):
        geometry = target.geometry
        codes = np.random.default_rng(10).integers(0, 64, (geometry.height, geometry.width))
        indexed = Image.fromarray(codes.astype(np.uint8), "P")
        indexed.putpalette(target.palette.srgb8.tobytes())
        indexed.save(tmp_path / "drawn.png")
        (source,) = read(tmp_path / "drawn.png", Demand(width=320, height=240))
        result = resize(crop(source, target), target)
        np.testing.assert_array_equal(exact_codes(result.pixels, target.palette), codes)


def test_a_caution_says_when_much_is_cut(board, picture):
    notes = resize(picture(size=(600, 400)), board).notes  # 533 of 600 columns are left
    assert not notes
    notes = resize(picture(size=(600, 360)), board).notes  # 480 of 600
    assert notes["caution"] == (
        '20 % of the picture is cut off; add the stage crop before resize, or use fit = "contain" for a border'
    )
    assert not resize(picture(size=(600, 360)), board, fit="contain").notes
    assert not resize(picture(size=(600, 360)), board, fit="stretch").notes


def test_demand_is_twice_the_board(board, wide_pixels):
    assert demanded(Demand(), board, {}) == Demand(width=320, height=240)
    assert demanded(Demand(), wide_pixels, {"method": "area"}) == Demand(width=160, height=240)
    assert demanded(Demand(), board, {"method": "nearest"}) == Demand()


@pytest.mark.parametrize("name", ["astronaut", "coffee", "chelsea", "rocket"])
def test_reduced_decoding_loses_nothing_visible(tmp_path, board, name):
    photograph = Image.fromarray(getattr(data, name)())
    large = photograph.resize((photograph.width * 4, photograph.height * 4), Image.Resampling.LANCZOS)
    path = tmp_path / "large.jpg"
    large.save(path, quality=92)
    demand = demanded_by_crop(demanded(Demand(), board, {}), board, {})
    (reduced,), (full,) = read(path, demand), read(path, Demand())
    assert reduced.pixels.shape[0] * 4 == full.pixels.shape[0]
    ours, exact = (
        srgb_from_linear(resize(crop(source, board, keep="centre"), board).pixels) for source in (reduced, full)
    )
    assert 10 * np.log10(1 / np.mean((ours - exact) ** 2)) > 45
    difference = deltaE_ciede2000(rgb2lab(ours), rgb2lab(exact))
    assert difference.mean() < 0.5
    assert np.percentile(difference, 95) < 1.5


def test_sharp_detail_at_half_size_differs_little(tmp_path, wide_pixels):
    # The hardest case: detail of single pixels in the file, reduced to just above what the demand asks for.
    path = tmp_path / "sharp.jpg"
    Image.fromarray(data.coffee()).save(path, quality=92)
    demand = demanded_by_crop(demanded(Demand(), wide_pixels, {}), wide_pixels, {})
    assert demand == Demand(width=320, height=240)
    (reduced,) = read(path, Demand(width=300, height=200))
    (full,) = read(path, demand)
    assert (reduced.pixels.shape[1], full.pixels.shape[1]) == (300, 600)
    ours, exact = (srgb_from_linear(resize(crop(s, wide_pixels), wide_pixels).pixels) for s in (reduced, full))
    assert deltaE_ciede2000(rgb2lab(ours), rgb2lab(exact)).mean() < 1
