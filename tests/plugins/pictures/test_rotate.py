"""Turning by quarters and by any angle."""

from __future__ import annotations

import math

import numpy as np
import pytest
from PIL import Image

from ladderlight import Demand
from ladderlight_stages.pictures.rotate import demanded, rotate


@pytest.mark.parametrize(
    ("angle", "transpose"),
    [
        (90, Image.Transpose.ROTATE_270),  # Pillow turns the other way round
        (-270, Image.Transpose.ROTATE_270),
        (180, Image.Transpose.ROTATE_180),
        (270, Image.Transpose.ROTATE_90),
    ],
)
def test_quarters_are_exact(picture, angle, transpose):
    samples = np.random.default_rng(4).integers(0, 256, (5, 8, 3), dtype=np.uint8)
    expected = np.asarray(Image.fromarray(samples).transpose(transpose))
    result = rotate(picture(samples / 255), angle=angle)
    np.testing.assert_array_equal(np.rint(result.pixels * 255), expected)
    assert result.pixels.flags.c_contiguous


def test_no_turn(picture):
    source = picture(size=(8, 5))
    np.testing.assert_array_equal(rotate(source, angle=360).pixels, source.pixels)


def hills(across: np.ndarray, down: np.ndarray) -> np.ndarray:
    """A smooth picture as a function of the distance from its centre."""
    return np.stack([0.5 + 0.4 * np.sin(across / 9), 0.5 + 0.4 * np.cos(down / 7), 0.5 + across / 400], axis=-1)


@pytest.mark.parametrize("angle", [7.0, -12.5, 97.0, 45.0])
@pytest.mark.parametrize("corners", ["cut", "border"])
def test_any_angle_moves_each_point_along_its_circle(picture, angle, corners):
    y, x = np.mgrid[0:90, 0:120]
    result = rotate(picture(hills(x - 59.5, y - 44.5)), angle=angle, corners=corners).pixels
    height, width = result.shape[:2]
    y, x = np.mgrid[0:height, 0:width]
    # Polar coordinates, clockwise as the rows count downwards: a point came from ``angle`` before.
    reach, place = (
        np.hypot(x - (width - 1) / 2, y - (height - 1) / 2),
        np.arctan2(y - (height - 1) / 2, x - (width - 1) / 2),
    )
    across, down = reach * np.cos(place - np.radians(angle)), reach * np.sin(place - np.radians(angle))
    inside = (np.abs(across) < 56) & (np.abs(down) < 41)
    assert inside.sum() > 3000
    np.testing.assert_allclose(result[inside], hills(across, down)[inside], atol=2e-3)


@pytest.mark.parametrize("angle", [3.0, -3.0, 30.0, 60.0, 93.0])
def test_cut_corners_leave_nothing_empty(picture, angle):
    result = rotate(picture(np.full((90, 160, 3), 0.7)), angle=angle)
    np.testing.assert_allclose(result.pixels, 0.7, atol=1e-5)
    height, width = result.pixels.shape[:2]
    turned = abs(angle) > 45
    assert (height / width if turned else width / height) == pytest.approx(160 / 90, rel=0.04)


def test_the_border_fills_the_corners(picture):
    result = rotate(picture(np.full((100, 100, 3), 0.25)), angle=45, corners="border", border="#00ff00").pixels
    assert result.shape == (142, 142, 3)
    np.testing.assert_array_equal(result[0, 0], (0, 1, 0))
    np.testing.assert_allclose(result[71, 71], 0.25, atol=1e-5)
    filled = ((1 - result[:, :, 1]) / 0.75).sum()
    assert filled == pytest.approx(100 * 100, rel=0.005)


def test_a_mark_turns_clockwise(picture):
    pixels = np.zeros((101, 101, 3))
    pixels[50, 90] = 1  # at three o'clock
    result = rotate(picture(pixels), angle=30, corners="border").pixels[:, :, 0]
    y, x = np.unravel_index(result.argmax(), result.shape)
    centre = (np.array(result.shape) - 1) / 2
    assert y - centre[0] == pytest.approx(40 * math.sin(math.radians(30)), abs=1)  # four o'clock, downwards
    assert x - centre[1] == pytest.approx(40 * math.cos(math.radians(30)), abs=1)


def test_demand(board):
    demand = Demand(width=320, height=240)
    assert demanded(demand, board, {"angle": 180.0}) == demand
    assert demanded(demand, board, {"angle": -90.0}) == Demand(width=240, height=320)
    assert demanded(demand, board, {"angle": 5.0, "corners": "border"}) == demand
    # 5 degrees: cos + 3 sin = 1.2577
    assert demanded(demand, board, {"angle": 5.0}) == Demand(width=403, height=302)
    assert demanded(Demand(), board, {"angle": 5.0}) == Demand()


@pytest.mark.parametrize(("size", "angle"), [((3000, 1000), 20.0), ((400, 300), -40.0), ((500, 1500), 10.0)])
def test_enough_is_left_of_what_was_demanded(picture, board, size, angle):
    wanted = Demand(width=100, height=100)
    demand = demanded(wanted, board, {"angle": angle})
    scale = max(demand.width / size[0], demand.height / size[1])
    source = picture(np.zeros((math.ceil(size[1] * scale), math.ceil(size[0] * scale), 3)))
    height, width = rotate(source, angle=angle).pixels.shape[:2]
    assert width >= 99
    assert height >= 99
