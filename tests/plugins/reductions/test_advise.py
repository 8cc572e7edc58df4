"""The method whose error is least visible."""

from __future__ import annotations

import re

import numpy as np
import pytest
from skimage import data
from skimage.transform import resize

from ladderlight import Board, Origin, Picture, Viewing
from ladderlight.board import linear_from_srgb
from ladderlight_stages.perception.vision import Viewer, density_of
from ladderlight_stages.reductions.advise import advise
from ladderlight_stages.reductions.diffuse.stage import diffuse
from ladderlight_stages.reductions.nearest import nearest
from ladderlight_stages.refining.area_colours import AreaColours


def picture(pixels: object) -> Picture:
    return Picture(origin=Origin(name="p", source="p.png"), pixels=np.asarray(pixels, dtype=np.float32))


@pytest.fixture(scope="module")
def photograph() -> Picture:
    """A cup, 80x60."""
    return picture(resize(linear_from_srgb(data.coffee() / 255), (60, 80), anti_aliasing=True))


@pytest.mark.parametrize("distance", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("patient", [True, False])
def test_it_is_no_worse_than_any_plain_method_that_keeps_colours(
    board: Board, photograph: Picture, distance: float, *, patient: bool
) -> None:
    viewer = Viewer(
        reference=photograph.pixels, density=density_of(board, Viewing(screen_width=0.3, distance=distance))
    )
    coded = advise(photograph, board, distance=distance, patient=patient)
    error = viewer.error(board.palette.linear[coded.codes]).mean
    assert coded.metrics["grain"]["mean"] == pytest.approx(error, abs=1e-3)
    plain = diffuse(photograph, board)
    areas = AreaColours(pixels=photograph.pixels, palette=board.palette, diffused=plain.codes)
    assert areas.keeps(coded.codes)
    others = [diffuse(photograph, board, kernel=kernel) for kernel in ("stucki", "fan", "sierra_light")]
    keeping = [other for other in (plain, *others, nearest(photograph, board)) if areas.keeps(other.codes)]
    assert len(keeping) == 3  # not stucki, nor nearest
    for other in keeping:
        assert error <= viewer.error(board.palette.linear[other.codes]).mean + 1e-9


def test_flat_wrong_colours_are_not_taken_although_their_grain_is_less(board: Board, photograph: Picture) -> None:
    """Near the screen the nearest colours show no dots, but areas lose their own."""
    near = advise(photograph, board, distance=0.2, patient=False)
    viewer = Viewer(reference=photograph.pixels, density=density_of(board, Viewing(screen_width=0.3, distance=0.2)))
    plain = nearest(photograph, board)
    assert viewer.error(board.palette.linear[plain.codes]).mean < near.metrics["grain"]["mean"] * 0.9
    assert near.notes["method"] == "search, 8 sweeps"
    assert near.metrics["colour_error"]["mean"] < diffuse(photograph, board).metrics["colour_error"]["mean"] + 0.5


@pytest.mark.parametrize(("density", "share"), [(10, 0.85), (20, 0.66)])
def test_with_few_sweeps_it_is_better_than_diffusion(
    board: Board, photograph: Picture, density: int, share: float
) -> None:
    distance = density / density_of(board, Viewing(screen_width=0.3, distance=1.0))[0]
    viewer = Viewer(reference=photograph.pixels, density=(density, density))
    coded = advise(photograph, board, distance=distance, patient=False)
    plain = diffuse(photograph, board)
    errors = [viewer.error(board.palette.linear[other.codes]).mean for other in (coded, plain)]
    assert errors[0] < share * errors[1]
    assert coded.notes["method"] == "search, 8 sweeps"


def test_the_manifest_is_told_which_and_why(board: Board, photograph: Picture) -> None:
    notes = advise(photograph, board, distance=1.0).notes
    assert notes["method"] == "search, 60 sweeps"
    found = re.fullmatch(
        r"least visible error at 9.3 pixels a degree of 27 attempts, (\d+) of which shift colours: (\S+); "
        r"diffuse floyd_steinberg at 1 (\S+)",
        str(notes["why"]),
    )
    assert found
    shifting, least, plain = map(float, found.groups())
    assert 2 <= shifting <= 26  # nearest and the weakest diffusion among them
    assert least < plain


def test_a_picture_in_the_boards_colours_is_unchanged(board: Board) -> None:
    codes = np.random.default_rng(1).integers(0, 64, (20, 30))
    for patient in (True, False):
        coded = advise(picture(board.palette.linear[codes]), board, patient=patient)
        np.testing.assert_array_equal(coded.codes, codes)
