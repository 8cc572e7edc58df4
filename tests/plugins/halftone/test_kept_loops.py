"""Diffusion around codes that are kept from an animation's frame before."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from skimage import data

from ladderlight import Board, Kept, Origin, Picture
from ladderlight.board import linear_from_srgb
from ladderlight.engine.coherence import compare
from ladderlight_stages.halftone.diffusion_loops import diffuse_errors
from ladderlight_stages.halftone.lattice_tables import largest_steps
from ladderlight_stages.halftone.palette_tables import make_tables, palette_tables
from ladderlight_stages.perception.vision import Viewer
from ladderlight_stages.reductions.diffuse import stage
from ladderlight_stages.reductions.diffuse.stage import diffuse
from ladderlight_stages.reductions.few_colours import few_colours
from ladderlight_stages.reductions.nearest import nearest
from ladderlight_stages.reductions.ordered import ordered
from ladderlight_stages.reductions.riemersma import riemersma
from ladderlight_stages.reductions.search import search


@pytest.fixture
def cat() -> Picture:
    pixels = linear_from_srgb(data.chelsea()[::3, ::3] / 255).astype(np.float32)
    return Picture(origin=Origin(name="cat", source="cat.gif"), pixels=pixels)


@pytest.fixture(params=["independent", "dependent", "grey"])
def any_board(
    request: pytest.FixtureRequest, make_board: Callable[..., Board], memory: Callable, ladder: Callable
) -> Board:
    """Boards for each of the loops: guns of their own levels, guns that share a line, and grey."""
    if request.param == "independent":
        return make_board()
    if request.param == "grey":
        ladders, lines = ladder(grey={"w0": 500.0, "w1": 227.0}), ["w0", "w1"]
    else:
        ladders = ladder(**{name: {f"{name}0": 690.0, "bright": 1400.0} for name in ("red", "green", "blue")})
        lines = ["red0", "green0", "blue0", "bright"]
    return make_board(memory(address=["x2-x9", "y2-y8"], data=lines), ladder=ladders, check=False)


@pytest.mark.parametrize("kernel", ["floyd_steinberg", "stucki", "atkinson", "stevenson_arce"])
@pytest.mark.parametrize("scan", ["serpentine", "raster"])
def test_where_nothing_is_kept_it_is_the_usual_diffusion(
    any_board: Board, cat: Picture, kernel: str, scan: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    usual = diffuse(cat, any_board, kernel=kernel, scan=scan).codes
    nothing = Kept(codes=np.full(usual.shape, -1, dtype=np.int32))
    monkeypatch.setattr(Kept, "__bool__", lambda self: self.codes is not None)
    np.testing.assert_array_equal(diffuse(cat, any_board, kept=nothing, kernel=kernel, scan=scan).codes, usual)


def test_its_own_codes_change_nothing(any_board: Board, cat: Picture) -> None:
    """What is kept as it would be anyway passes the same errors on: the rest is dithered as before."""
    usual = diffuse(cat, any_board).codes
    kept = usual.astype(np.int32)
    kept[:, ::3] = -1
    again = diffuse(cat, any_board, kept=Kept(codes=kept)).codes
    assert (again != usual).mean() < 0.05  # the errors beyond half a step, at the edge of what the board shows, are cut


def test_new_dots_join_the_old_without_a_seam(board: Board, cat: Picture) -> None:
    """Noise leaves islands of codes that are kept among others. S-CIELAB at 40 pixels a degree, five draws."""
    random = np.random.default_rng(0)
    before = diffuse(cat, board)
    joined, patched, fresh = [], [], []
    for _ in range(5):
        found = compare(cat, None, still=0.02)
        noisy = cat.with_pixels(np.clip(cat.pixels * random.normal(1, 0.07, cat.pixels.shape), 0, 1).astype(np.float32))
        kept = compare(noisy, found, still=0.02).kept(before.codes, before.codes)
        assert 0.2 < (kept.codes >= 0).mean() < 0.9
        viewer = Viewer(reference=noisy.pixels, density=(40, 40))
        alone = diffuse(noisy, board).codes
        for codes, errors in (
            (diffuse(noisy, board, kept=kept).codes, joined),
            (kept.over(alone), patched),
            (alone, fresh),
        ):
            errors.append(viewer.error(board.palette.linear[codes]).mean)
    assert np.mean(joined) < 0.95 * np.mean(patched)
    assert np.mean(joined) < 1.3 * np.mean(fresh)


def test_drift_that_is_kept_over_an_area_is_not_dumped_at_its_border(board: Board) -> None:
    """A whole plane is kept although it has become a little lighter; the strip beside it keeps its own level."""
    light = np.full((60, 80, 3), 0.2, dtype=np.float32)
    plain = Picture(origin=Origin(name="p", source="p.gif"), pixels=light)
    kept = diffuse(plain, board).codes.astype(np.int32)
    lighter = light * 1.05
    lighter[:, 60:] = 0.4
    kept[:, 60:] = -1
    codes = diffuse(plain.with_pixels(lighter), board, kept=Kept(codes=kept)).codes
    np.testing.assert_array_equal(codes[:, :60], kept[:, :60])
    strip = board.palette.linear[codes[:, 60:]].mean(axis=(0, 1))
    np.testing.assert_allclose(strip, 0.4, atol=0.012)


@pytest.mark.parametrize("reduce", [diffuse, nearest, ordered, riemersma, search, few_colours])
def test_what_is_in_the_boards_colours_is_unchanged_whatever_was_before(board: Board, reduce: Callable) -> None:
    """On a board of many colours, neighbours look alike; a drawing in them is shown as drawn all the same."""
    codes = np.random.default_rng(0).choice(np.array([0, 9, 33, 63], dtype=np.uint16), (20, 30))
    pixels = board.palette.linear[codes].astype(np.float32)
    drawing = Picture(origin=Origin(name="d", source="d.gif"), pixels=pixels)
    kept = Kept(codes=np.full(codes.shape, 9, np.int32))
    np.testing.assert_array_equal(reduce(drawing, board, kept=kept).codes, codes)


def test_codes_that_are_not_among_few_colours_are_chosen_anew(board: Board, cat: Picture) -> None:
    tables = palette_tables(board.palette, 0.25)
    kept = Kept(codes=np.full(cat.pixels.shape[:2], 63, dtype=np.int32))
    found = stage.diffused_onto(cat, tables, stage.KERNELS["floyd_steinberg"], 1.0, kept, serpentine=True)
    assert (found == 63).all()


def test_light_that_is_driven_far_by_kept_colours_is_clipped_before_its_cell_is_found() -> None:
    """Guns of unlike extent, and colours kept at random: the uses of each are those of a loop that goes gun by gun."""
    random = np.random.default_rng(0)
    tables = make_tables(random.random((12, 3)) * (1.0, 0.6, 0.4), np.arange(12, dtype=np.uint16), 0.25)
    y, x = np.mgrid[:24, :32] / 32
    pixels = np.stack([x, y * 0.8, 0.4 - 0.4 * x], axis=2).astype(np.float32)
    kept = np.where(random.random((24, 32)) < 0.3, random.integers(0, 12, (24, 32)), -1).astype(np.int32)
    below = np.array([[1, -1, 384], [1, 0, 640], [1, 1, 128]], np.int32)
    steps = largest_steps(tables.colours[:, :3])
    codes, _ = diffuse_errors(pixels, None, tables, 896, None, below, True, steps // 2, kept, steps)
    assert (codes[kept >= 0] == kept[kept >= 0]).all()
    assert np.bincount(codes.ravel(), minlength=12).tolist() == [45, 45, 65, 58, 89, 55, 186, 67, 32, 52, 43, 31]
