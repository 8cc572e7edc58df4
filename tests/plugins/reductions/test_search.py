"""The search for codes whose error is least visible."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from skimage import data
from skimage.transform import resize

from ladderlight import Board, Origin, Picture, Viewing
from ladderlight.board import linear_from_srgb
from ladderlight_stages.perception.vision import Viewer, density_of
from ladderlight_stages.reductions.diffuse.stage import diffuse
from ladderlight_stages.reductions.search import search
from ladderlight_stages.refining.annealing import annealed
from ladderlight_stages.refining.area_colours import AreaColours
from ladderlight_stages.refining.visible_error import VisibleError


def picture(pixels: object) -> Picture:
    return Picture(origin=Origin(name="p", source="p.png"), pixels=np.asarray(pixels, dtype=np.float32))


@pytest.fixture(scope="module")
def photograph() -> Picture:
    """A cat, 80x60."""
    return picture(resize(linear_from_srgb(data.chelsea() / 255), (60, 80), anti_aliasing=True))


@pytest.mark.parametrize("distance", [0.8, 1.2, 3.0])
def test_the_visible_error_is_less_than_by_diffusion(board: Board, photograph: Picture, distance: float) -> None:
    density = density_of(board, Viewing(screen_width=0.3, distance=distance))
    viewer = Viewer(reference=photograph.pixels, density=density)

    def error(coded: object) -> float:
        return viewer.error(board.palette.linear[coded.codes]).mean  # type: ignore[attr-defined]

    found = error(search(photograph, board, screen_width=0.3, distance=distance))
    assert found < error(diffuse(photograph, board)) * 0.97


def test_a_picture_in_the_boards_colours_is_unchanged(board: Board) -> None:
    codes = np.random.default_rng(1).integers(0, 64, (30, 40))
    np.testing.assert_array_equal(search(picture(board.palette.linear[codes]), board).codes, codes)


@pytest.mark.parametrize("distance", [0.4, 0.8, 1.5, 4.0, 10.0])
def test_areas_keep_their_colours_and_dots_show_less(board: Board, photograph: Picture, distance: float) -> None:
    """Both measures against plain diffusion's, as the manifest has them."""
    found = search(photograph, board, screen_width=0.3, distance=distance).metrics
    plain = diffuse(photograph, board, screen_width=0.3, distance=distance).metrics
    assert found["colour_error"]["mean"] <= plain["colour_error"]["mean"] + 0.5
    assert found["grain"]["mean"] < plain["grain"]["mean"] * 0.95


def test_the_coarse_scales_keep_the_colours_of_areas(board: Board, photograph: Picture) -> None:
    """Near the screen the eye's blur alone would let areas take other colours."""
    areas = AreaColours(pixels=photograph.pixels, palette=board.palette, diffused=diffuse(photograph, board).codes)
    excess = []
    for weight in (0.0, 1.0, 16.0):
        error = VisibleError(pixels=photograph.pixels, linear=board.palette.linear, density=(6.0, 6.0), areas=weight)
        chosen = annealed(error, areas.diffused.astype(np.int32), 20)
        excess.append(areas.error(chosen.astype(np.uint16)) - areas.error(areas.diffused))
    assert excess[0] > 1.0
    assert excess[0] > excess[1] + 1.0
    assert excess[1] > excess[2]
    assert excess[2] < 0.0


def test_a_grey_board_is_searched_by_luminance(boards: dict[str, Board], photograph: Picture) -> None:
    """Colour that no grey can show does not swamp lightness: a picture in greys of that light shows no less."""
    light = photograph.pixels @ np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1
    grey = picture(np.repeat(light[..., None], 3, axis=-1))
    board = boards["grey 4"]
    found, same = (search(each, board, screen_width=0.3, distance=1.5).codes for each in (photograph, grey))
    viewer = Viewer(reference=grey.pixels, density=density_of(board, Viewing(screen_width=0.3, distance=1.5)))
    errors = [viewer.error(board.palette.linear[codes]).mean for codes in (found, same)]
    assert errors[0] == pytest.approx(errors[1], rel=0.02)


def test_it_finds_the_same_every_time(board: Board, photograph: Picture) -> None:
    np.testing.assert_array_equal(search(photograph, board).codes, search(photograph, board).codes)


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (9, 1), (3, 2)])
def test_small_pictures(board: Board, shape: tuple[int, int]) -> None:
    codes = search(picture(np.full((*shape, 3), 0.37)), board).codes
    assert codes.shape == shape
    assert codes.dtype == np.uint16


def test_a_board_whose_guns_share_a_line(
    make_board: Callable[..., Board], memory: Callable, ladder: Callable, photograph: Picture
) -> None:
    board = make_board(
        memory(address=["x2-x9", "y2-y8"], data=["b0", "g0", "r0", "i0"]),
        ladder=ladder(**{gun: {f"{gun[0]}0": 690.0, "i0": 1400.0} for gun in ("red", "green", "blue")}),
        check=False,
    )
    viewer = Viewer(reference=photograph.pixels, density=(20.0, 20.0))
    far = {"screen_width": 0.3, "distance": 0.3 / board.geometry.width * 20 / np.deg2rad(1)}
    found = viewer.error(board.palette.linear[search(photograph, board, **far).codes]).mean
    assert found < viewer.error(board.palette.linear[diffuse(photograph, board).codes]).mean


def test_a_neutral_photograph_in_colours_shows_less_too(board: Board) -> None:
    """Next to grey a little colour is a large difference: where areas would take one, few coloured dots are left."""
    light = resize(linear_from_srgb(data.camera() / 255), (60, 80), anti_aliasing=True)
    neutral, place = picture(np.repeat(light[..., None], 3, axis=-1)), {"screen_width": 0.3, "distance": 4.0}
    found, plain = search(neutral, board, **place).metrics, diffuse(neutral, board, **place).metrics
    assert found["colour_error"]["mean"] <= plain["colour_error"]["mean"] + 0.5
    assert found["grain"]["mean"] < plain["grain"]["mean"] * 0.8
