"""The method whose error is least visible."""

from __future__ import annotations

import numpy as np
import pytest
from skimage import data
from skimage.transform import resize

from ladderlight import Board, Origin, Picture
from ladderlight.board import linear_from_srgb
from ladderlight_stages.reductions.advise import advise
from ladderlight_stages.reductions.diffuse import diffuse
from ladderlight_stages.reductions.nearest import nearest
from ladderlight_stages.viewing import density_of
from ladderlight_stages.vision import Viewer


def picture(pixels: object) -> Picture:
    return Picture(origin=Origin(name="p", source="p.png"), pixels=np.asarray(pixels, dtype=np.float32))


@pytest.fixture(scope="module")
def photograph() -> Picture:
    """A cup, 80x60."""
    return picture(resize(linear_from_srgb(data.coffee() / 255), (60, 80), anti_aliasing=True))


@pytest.mark.parametrize("distance", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("patient", [True, False])
def test_it_is_no_worse_than_any_plain_method(
    board: Board, photograph: Picture, distance: float, *, patient: bool
) -> None:
    viewer = Viewer(reference=photograph.pixels, density=density_of(board, screen_width=0.3, distance=distance))
    coded = advise(photograph, board, distance=distance, patient=patient)
    error = viewer.error(board.palette.linear[coded.codes]).mean
    assert coded.metrics["visible_error_mean"] == pytest.approx(error, abs=1e-3)
    for other in (nearest(photograph, board), diffuse(photograph, board), diffuse(photograph, board, strength=0.5)):
        assert error <= viewer.error(board.palette.linear[other.codes]).mean + 1e-9


def test_near_the_screen_it_does_not_dither_and_from_afar_it_does(board: Board, photograph: Picture) -> None:
    near = advise(photograph, board, distance=0.2, patient=False)
    far = advise(photograph, board, distance=4.0, patient=False)
    assert str(near.notes["method"]).startswith("nearest") or "0.5" in str(near.notes["method"])
    assert str(far.notes["method"]).startswith("diffuse")
    assert " at 1" in str(far.notes["method"])


@pytest.mark.parametrize(("density", "share"), [(10, 0.94), (20, 0.7)])
def test_without_search_it_is_better_than_nearest_and_diffusion(
    board: Board, photograph: Picture, density: int, share: float
) -> None:
    """Near the screen single pixels are seen, and no plain method gains so much on both."""
    distance = density / density_of(board, screen_width=0.3, distance=1.0)[0]
    viewer = Viewer(reference=photograph.pixels, density=(density, density))
    coded = advise(photograph, board, distance=distance, patient=False)
    plain = [nearest(photograph, board), diffuse(photograph, board)]
    errors = [viewer.error(board.palette.linear[other.codes]).mean for other in (coded, *plain)]
    assert errors[0] < share * min(errors[1:])
    assert str(coded.notes["method"]).endswith(", then polished")


def test_the_manifest_is_told_which_and_why(board: Board, photograph: Picture) -> None:
    notes = advise(photograph, board, distance=1.0).notes
    assert notes["method"] == "search"
    assert "visible error" in str(notes["why"])
    assert "nearest" in str(notes["why"])


def test_a_picture_in_the_boards_colours_is_unchanged(board: Board) -> None:
    codes = np.random.default_rng(1).integers(0, 64, (20, 30))
    for patient in (True, False):
        coded = advise(picture(board.palette.linear[codes]), board, patient=patient)
        np.testing.assert_array_equal(coded.codes, codes)
