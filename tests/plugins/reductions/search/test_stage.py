"""The search for codes whose error is least visible."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from skimage import data
from skimage.transform import resize

from ladderlight import Board, Origin, Picture
from ladderlight.board import linear_from_srgb
from ladderlight_stages.perception.density import density_of
from ladderlight_stages.perception.vision import Viewer
from ladderlight_stages.reductions.diffuse.stage import diffuse
from ladderlight_stages.reductions.search.search_loops import search_sweep
from ladderlight_stages.reductions.search.search_model import SearchModel
from ladderlight_stages.reductions.search.stage import search


def picture(pixels: object) -> Picture:
    return Picture(origin=Origin(name="p", source="p.png"), pixels=np.asarray(pixels, dtype=np.float32))


@pytest.fixture(scope="module")
def photograph() -> Picture:
    """A cat, 80x60."""
    return picture(resize(linear_from_srgb(data.chelsea() / 255), (60, 80), anti_aliasing=True))


@pytest.mark.parametrize("distance", [0.8, 1.2, 3.0])
def test_the_visible_error_is_less_than_by_diffusion(board: Board, photograph: Picture, distance: float) -> None:
    density = density_of(board, screen_width=0.3, distance=distance)
    viewer = Viewer(reference=photograph.pixels, density=density)

    def error(coded: object) -> float:
        return viewer.error(board.palette.linear[coded.codes]).mean  # type: ignore[attr-defined]

    found = error(search(photograph, board, screen_width=0.3, distance=distance))
    assert found < error(diffuse(photograph, board)) * 0.97


def test_a_picture_in_the_boards_colours_is_unchanged(board: Board) -> None:
    codes = np.random.default_rng(1).integers(0, 64, (30, 40))
    np.testing.assert_array_equal(search(picture(board.palette.linear[codes]), board).codes, codes)


def test_the_share_that_is_diffused_to_keep_colours_is_noted(board: Board, photograph: Picture) -> None:
    """Near the screen the search alone would show flat areas in other colours; from afar it blends dots."""
    near = search(photograph, board, screen_width=0.3, distance=0.6)
    diffused = diffuse(photograph, board).codes
    assert 0.1 < float(near.notes["diffused_share"]) < (near.codes == diffused).mean()  # type: ignore[arg-type]
    assert "diffused_share" not in search(photograph, board, screen_width=0.3, distance=6.0).notes


def test_it_finds_the_same_every_time(board: Board, photograph: Picture) -> None:
    np.testing.assert_array_equal(search(photograph, board).codes, search(photograph, board).codes)


def test_each_change_lessens_the_quadratic_error_as_much_as_the_loop_reckons(board: Board, photograph: Picture) -> None:
    """The loop keeps the convolved error up to date by itself; worked out anew it must be the same, and smaller."""
    model = SearchModel(pixels=photograph.pixels, linear=board.palette.linear, density=(20.0, 20.0))
    chosen = diffuse(photograph, board).codes.astype(np.int32)
    weights = model.weights(chosen, large=False)
    pull = model.pull(chosen, weights)

    def energy(state: np.ndarray, convolved: np.ndarray) -> float:
        from ladderlight_stages.reductions.search import search_model

        wanted = photograph.pixels @ search_model._BALANCED_FROM_LINEAR.T
        return float(((model.colours[state] - wanted) * weights * convolved).sum())

    before = energy(chosen, pull)
    changes = search_sweep(chosen, pull, weights, model.colours, model.moves(weights), model.spread)
    assert changes > 100
    np.testing.assert_allclose(pull, model.pull(chosen, weights), atol=2e-4)
    assert energy(chosen, pull) < before * 0.9


def test_errors_count_in_the_dark_beside_the_light_too() -> None:
    """There the blur leaves less than nothing of some channels."""
    pixels = np.zeros((60, 80, 3), dtype=np.float32)
    pixels[:, :40] = (1.0, 0.9, 0.8)
    model = SearchModel(pixels=pixels, linear=np.array([[0.0, 0, 0], [1, 1, 1]]), density=(20.0, 20.0))
    for large in (False, True):
        assert model.weights(np.zeros((60, 80), dtype=np.int32), large=large).min() > 0.05


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
