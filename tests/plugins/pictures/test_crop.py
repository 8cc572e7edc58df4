"""Cropping: proportions on the screen, which part stays, edges, borders, the size asked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from skimage import data

from ladderlight import Demand, PictureError
from ladderlight.board import linear_from_srgb
from ladderlight_stages.pictures.crop import crop, demanded


def corners(picture) -> tuple[tuple[int, int], tuple[int, int]]:
    """Where the first and the last pixel came from, as (x, y)."""
    first, last = picture.pixels[0, 0], picture.pixels[-1, -1]
    return tuple(np.rint(first[:2] * 1000).astype(int)), tuple(np.rint(last[:2] * 1000).astype(int))


@pytest.mark.parametrize(
    ("keep", "expected"),
    [
        ("centre", ((100, 0), (499, 299))),
        ("left", ((0, 0), (399, 299))),
        ("right", ((200, 0), (599, 299))),
        ("top", ((100, 0), (499, 299))),
        ("top-right", ((200, 0), (599, 299))),
        ("bottom-left", ((0, 0), (399, 299))),
    ],
)
def test_a_wide_picture_loses_its_sides(board, picture, places, keep, expected):
    result = crop(picture(places(600, 300)), board, keep=keep)
    assert result.pixels.shape == (300, 400, 3)  # the screen is 4:3
    assert corners(result) == expected


@pytest.mark.parametrize(
    ("keep", "expected"),
    [
        ("centre", ((0, 50), (399, 349))),
        ("top", ((0, 0), (399, 299))),
        ("bottom", ((0, 100), (399, 399))),
        ("left", ((0, 50), (399, 349))),
        ("top-left", ((0, 0), (399, 299))),
        ("bottom-right", ((0, 100), (399, 399))),
    ],
)
def test_a_square_picture_loses_top_and_bottom(board, picture, places, keep, expected):
    result = crop(picture(places(400, 400)), board, keep=keep)
    assert result.pixels.shape == (300, 400, 3)
    assert corners(result) == expected


def test_proportions_are_the_screens_not_the_rasters(wide_pixels, picture):
    # 80x120 pixels of twice their height in width are 160:120 on the screen.
    assert crop(picture(size=(500, 300)), wide_pixels, keep="centre").pixels.shape == (300, 400, 3)


def test_edges_in_shares_and_in_pixels(board, picture, places):
    result = crop(picture(places(1000, 500)), board, left=0.1, right=20, top=0.2, bottom=1, keep="centre")
    # 100 to 980 across and 100 to 499 down are left: 880 by 399, of which 4:3 is 532 by 399.
    assert result.pixels.shape == (399, 532, 3)
    assert corners(result) == ((274, 100), (805, 498))


def test_nothing_left(board, picture):
    with pytest.raises(PictureError, match=r"^taking 60 and 60 pixels off 100 across .* leaves nothing; take off less"):
        crop(picture(size=(100, 100)), board, left=0.6, right=0.6)


def test_the_whole_picture_in_a_border(board, picture):
    result = crop(picture(np.full((100, 200, 3), 0.5)), board, keep="all", border="#ff0000")
    assert result.pixels.shape == (150, 200, 3)
    np.testing.assert_array_equal(result.pixels[:25], np.broadcast_to([1, 0, 0], (25, 200, 3)))
    np.testing.assert_array_equal(result.pixels[25:125], 0.5)
    np.testing.assert_array_equal(result.pixels[125:, :, 1], 0)


def test_tiny_pictures(board, picture):
    assert crop(picture(size=(1, 1)), board).pixels.shape == (1, 1, 3)
    assert crop(picture(size=(1, 50)), board).pixels.shape == (1, 1, 3)


def test_a_picture_drawn_for_the_board_is_left_alone(wide_pixels, picture):
    codes = np.random.default_rng(2).integers(0, 64, (120, 80))
    drawn = picture(wide_pixels.palette.linear[codes])
    assert crop(drawn, wide_pixels) is drawn
    twice = picture(np.repeat(drawn.pixels, 2, axis=1))
    assert crop(twice, wide_pixels) is twice
    assert crop(drawn, wide_pixels, top=1).pixels.shape != drawn.pixels.shape
    # Any other picture of this size is a photograph of square pixels.
    assert crop(picture(size=(80, 120)), wide_pixels).pixels.shape == (60, 80, 3)


def test_demand_passes_through_square_pixels(board):
    assert demanded(Demand(width=320, height=240), board, {}) == Demand(width=320, height=240)


def test_demand_with_wide_pixels(wide_pixels):
    # 160x240 in the screen's proportions: 320 pixels across if 240 down are to be had.
    assert demanded(Demand(width=160, height=240), wide_pixels, {}) == Demand(width=320, height=240)


def test_demand_grows_with_edges_in_shares(board):
    options = {"left": 0.25, "right": 0.25, "top": 0.2}
    assert demanded(Demand(width=320, height=240), board, options) == Demand(width=640, height=300)


@pytest.mark.parametrize("options", [{"left": 3}, {"bottom": 1}, {"left": 0.5, "right": 0.5}])
def test_pixels_of_the_file_need_the_full_size(board, options):
    assert demanded(Demand(width=320, height=240), board, options) == Demand()


def test_full_size_stays_full_size(board):
    assert demanded(Demand(), board, {}) == Demand()


@pytest.mark.parametrize(
    ("focus", "first"),
    [
        ((0.5, 0.5), (100, 0)),
        ((0.4, 0.9), (40, 0)),  # 240 of 600 becomes the middle of 400
        ((0.0, 0.0), (0, 0)),
        ((1.0, 1.0), (200, 0)),
        ((290, 10), (90, 0)),
        ((600, 300), (200, 0)),
    ],
)
def test_around_a_point(board, picture, places, focus, first):
    result = crop(picture(places(600, 300)), board, focus=focus)
    assert result.pixels.shape == (300, 400, 3)
    assert corners(result)[0] == first
    np.testing.assert_array_equal(
        crop(picture(places(600, 300)), board, keep="focus", focus=focus).pixels, result.pixels
    )


def test_a_point_is_counted_in_the_whole_picture(board, picture, places):
    result = crop(picture(places(600, 300)), board, focus=(0.5, 0.5), left=0.25)
    # 150 to 599 are left; 400 of them around 300.
    assert corners(result) == ((150, 0), (549, 299))
    tall = crop(picture(places(400, 600)), board, focus=(200, 260), top=100)
    assert corners(tall) == ((0, 110), (399, 409))


def test_points_that_do_not_go(board, picture):
    with pytest.raises(PictureError, match=r'keep = "focus" needs a point; add one, such as focus = \[0\.5, 0\.3\]'):
        crop(picture(size=(9, 9)), board, keep="focus")
    with pytest.raises(PictureError, match='keep = "top" does not go with focus; leave one of them out'):
        crop(picture(size=(9, 9)), board, keep="top", focus=(0.5, 0.5))
    with pytest.raises(
        PictureError,
        match=r"^focus = \[0\.5, 300\] mixes a share of the picture with pixels; write both as shares, at most 1, or",
    ):
        crop(picture(size=(900, 900)), board, focus=(0.5, 300))


@pytest.mark.parametrize("focus", [(601, 10), (10, 301), (5000, 0)])
def test_a_point_outside_the_picture(board, picture, focus):
    with pytest.raises(
        PictureError, match=r"^focus = .* lies outside the picture, which is 600 pixels across and 300 down; use a"
    ):
        crop(picture(size=(600, 300)), board, focus=focus)


@pytest.mark.parametrize(("width", "height", "x", "y"), [(900, 300, 700, 0), (900, 300, 100, 0), (400, 900, 0, 640)])
def test_the_busiest_part(board, picture, width, height, x, y):
    pixels = np.full((height, width, 3), 0.4, dtype=np.float32)
    pixels[:, :, 1] += np.linspace(0, 0.2, width, dtype=np.float32)  # a soft sky is not busy
    pixels[y : y + 120, x : x + 120] = np.random.default_rng(3).random((120, 120, 3))
    result = crop(picture(pixels), board, keep="busiest").pixels
    busy = np.abs(np.diff(result[:, :, 0], axis=1)) > 0.01
    assert busy.sum() == (np.abs(np.diff(pixels[:, :, 0], axis=1)) > 0.01).sum()  # all of it is in
    np.testing.assert_array_equal(crop(picture(pixels), board, keep="busiest").pixels, result)


def test_nothing_is_busy_in_a_plain_picture(board, picture, places):
    pixels = places(600, 300) * 0
    pixels[:, 100, 0] = 1e-5  # too faint to see, to tell where the part is from
    result = crop(picture(pixels), board, keep="busiest").pixels
    assert result[0, 0, 0] == np.float32(1e-5)


@pytest.mark.parametrize(
    ("name", "head", "spare"),
    [("astronaut", (12, 190), 128), ("camera", (60, 120), 128)],
)
def test_heads_are_kept(board, picture, name, head, spare):
    """Square photographs of scikit-image; the rows of the heads are read off them. The centre cuts both heads."""
    photograph = np.atleast_3d(getattr(data, name)()) * np.ones(3, dtype=np.uint8)
    pixels = linear_from_srgb(photograph / 255).astype(np.float32)
    kept = crop(picture(pixels), board).pixels
    assert kept.shape == (512 - spare, 512, 3)
    first = next(y for y in range(spare + 1) if np.array_equal(kept[0], pixels[y]))
    assert first <= head[0]
    assert head[1] <= first + len(kept)
    centred = crop(picture(pixels), board, keep="centre").pixels
    np.testing.assert_array_equal(centred, pixels[64:-64])


def test_frames_of_an_animation_keep_their_place(board, picture):
    pixels = np.full((300, 900, 3), 0.4, dtype=np.float32)
    pixels[:120, 700:820] = np.random.default_rng(3).random((120, 120, 3))
    still = picture(pixels)
    frame = replace(still, origin=replace(still.origin, animated=True))
    assert not np.array_equal(crop(still, board).pixels, pixels[:, 250:650])
    np.testing.assert_array_equal(crop(frame, board).pixels, pixels[:, 250:650])


def test_a_caution_says_when_much_is_cut(board, picture):
    advice = 'choose the part with keep or focus of the stage crop, or keep = "all" for a border'
    assert crop(picture(size=(400, 350)), board).notes == {}  # 300 of 350 rows are left
    assert crop(picture(size=(400, 400)), board).notes == {"caution": f"25 % of the picture is cut off; {advice}"}
    before = picture(size=(400, 400)).with_notes({"caution": "the colour profile is damaged"})
    assert crop(before, board).notes["caution"].startswith("the colour profile is damaged; 25 % of the picture")
    assert crop(picture(size=(400, 400)), board, keep="all").notes == {}


@pytest.mark.parametrize(("focus", "full"), [((0.3, 1), False), ((300, 1), True)])
def test_a_point_in_pixels_needs_the_full_size(board, focus, full):
    assert (demanded(Demand(width=320, height=240), board, {"focus": focus}) == Demand()) is full
