"""The last step of the search for codes."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.color import xyz2lab

from ladderlight import Board
from ladderlight_stages.perception.vision import XYZ_FROM_LINEAR, Viewer, seen_opponent
from ladderlight_stages.refining.polish import _TO_XYZ, _blur, _lab_function, _wanted, polished, polished_codes
from ladderlight_stages.refining.polish_loops import ROOTS_PER_UNIT, differences


def test_differences_are_cielabs_with_the_weights_given(board: Board) -> None:
    rng = np.random.default_rng(1)
    pixels, shown = rng.random((12, 16, 3)).astype(np.float32), rng.random((12, 16, 3))
    density = (15.0, 15.0)
    wanted = _wanted(pixels, density)
    roots = _lab_function(np.arange(2 * ROOTS_PER_UNIT + 2) / ROOTS_PER_UNIT).astype(np.float32)
    seen = seen_opponent(shown, density)
    found = differences(seen.astype(np.float32), wanted, _TO_XYZ, roots)
    from ladderlight_stages.perception.vision import OPPONENT_FROM_XYZ

    white = XYZ_FROM_LINEAR @ np.ones(3) / np.array([0.95047, 1.0, 1.08883])
    lab = xyz2lab(seen @ np.linalg.inv(OPPONENT_FROM_XYZ).T / white)
    gap = lab - wanted[..., :3]
    expected = np.sqrt((gap[..., 0] * wanted[..., 3]) ** 2 + (gap[..., 1] ** 2 + gap[..., 2] ** 2) * wanted[..., 4])
    np.testing.assert_allclose(found, expected, atol=0.05)


@pytest.mark.parametrize("density", [6.0, 12.0, 30.0])
def test_the_visible_error_becomes_less(board: Board, density: float) -> None:
    rng = np.random.default_rng(2)
    pixels = np.clip(np.linspace(0, 0.8, 60)[None, :, None] + rng.normal(0, 0.05, (45, 60, 3)), 0, 1).astype(np.float32)
    linear = board.palette.linear
    start = rng.integers(0, 64, (45, 60)).astype(np.int32)
    viewer = Viewer(reference=pixels, density=(density, density))
    better = polished(pixels, linear, start, (density, density))
    assert viewer.error(linear[better]).mean < 0.6 * viewer.error(linear[start]).mean
    assert (start != better).any()


def test_what_a_pixel_adds_is_part_of_the_whole_blur() -> None:
    """Beside what reaches further, against the blur of a picture with one pixel lit."""
    lit = np.zeros((41, 41, 3))
    lit[20, 20] = 1.0
    seen, dark = seen_opponent(lit, (15.0, 10.0)), seen_opponent(np.zeros_like(lit), (15.0, 10.0))
    one = seen_opponent(np.ones_like(lit), (15.0, 10.0))[20, 20]
    np.testing.assert_allclose(_blur((15.0, 10.0), 2), ((seen - dark) / one)[18:23, 18:23], atol=2e-3)


def test_codes_of_equal_colours_are_bettered_alike(board: Board) -> None:
    """A board on which codes 2 and 40 show the same colour: it does not matter with which of them one starts."""
    from dataclasses import replace

    volts = board.palette.volts.copy()
    volts[40] = volts[2]
    palette = replace(board.palette, volts=volts)
    pixels = np.broadcast_to(np.linspace(0, 0.8, 60)[None, :, None], (20, 60, 3)).astype(np.float32)
    start = np.full((20, 60), 2, dtype=np.uint16)
    better = [polished_codes(pixels, palette, codes, (20.0, 20.0)) for codes in (start, start + np.uint16(38))]
    np.testing.assert_array_equal(better[0], better[1])
    assert (better[0] != start).any()
    assert not (better[0] == 40).any()
