"""Reduction to the best few of the board's colours."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from skimage import data
from skimage.transform import resize

from ladderlight import Board, Origin, Picture, PictureError
from ladderlight.board import linear_from_srgb
from ladderlight_stages.reductions.choice import best_codes
from ladderlight_stages.reductions.few_colours import few_colours
from ladderlight_stages.vision import Viewer


def picture(pixels: object) -> Picture:
    return Picture(origin=Origin(name="p", source="p.png"), pixels=np.asarray(pixels, dtype=np.float32))


@pytest.fixture
def many(make_board: Callable[..., Board], memory: Callable, ladder: Callable) -> Board:
    """4096 colours: four lines for each gun."""
    ohms = dict(enumerate((7500.0, 3600.0, 1800.0, 820.0)))
    channels = {gun: {f"{gun}{bit}": value for bit, value in ohms.items()} for gun in ("red", "green", "blue")}
    lines = [line for table in channels.values() for line in table]
    return make_board(
        memory(address=["x2-x9", "y2-y8"], data=lines, part="27C1024"), ladder=ladder(**channels), check=False
    )


@pytest.fixture(scope="module")
def photograph() -> Picture:
    """A cat, 80x60."""
    return picture(resize(linear_from_srgb(data.chelsea() / 255), (60, 80), anti_aliasing=True))


@pytest.mark.parametrize("count", [1, 2, 7, 16, 100])
def test_no_more_than_so_many_colours_are_used(many: Board, photograph: Picture, count: int) -> None:
    assert len(np.unique(few_colours(photograph, many, count=count).codes)) <= count


def test_chosen_colours_show_less_error_than_evenly_spread_ones(many: Board, photograph: Picture) -> None:
    viewer = Viewer(reference=photograph.pixels, density=(30.0, 30.0))
    levels = (0, 15)
    spread = [red | green << 4 | blue << 8 for red in levels for green in levels for blue in levels]
    spread += [level | level << 4 | level << 8 for level in (2, 4, 6, 8, 10, 11, 12, 13)]
    errors = [
        viewer.error(many.palette.linear[coded.codes]).mean
        for coded in (few_colours(photograph, many, count=16), few_colours(photograph, many, codes=spread))
    ]
    assert errors[0] < 0.8 * errors[1]


def test_more_colours_show_less_error(many: Board, photograph: Picture) -> None:
    viewer = Viewer(reference=photograph.pixels, density=(30.0, 30.0))
    errors = [
        viewer.error(many.palette.linear[few_colours(photograph, many, count=count).codes]).mean
        for count in (4, 16, 64)
    ]
    assert errors == sorted(errors, reverse=True)


def test_the_medoids_of_separate_clusters_are_found(board: Board) -> None:
    """Three patches of the board's own colours, of very different sizes."""
    pixels = np.empty((40, 50, 3), dtype=np.float32)
    pixels[:] = board.palette.linear[3]
    pixels[:10] = board.palette.linear[60]
    pixels[30:, 45:] = board.palette.linear[12]
    none = np.zeros(0, dtype=np.uint16)
    np.testing.assert_array_equal(best_codes(pixels, board.palette, 3, none), [3, 12, 60])
    np.testing.assert_array_equal(best_codes(pixels, board.palette, 2, none), [3, 60])


def test_codes_to_keep_are_kept(many: Board, photograph: Picture) -> None:
    keep = np.array([0, 4095], dtype=np.uint16)
    chosen = best_codes(photograph.pixels, many.palette, 8, keep)
    assert len(chosen) == 8
    assert {0, 4095} <= set(chosen.tolist())


def test_one_choice_for_all_pictures(many: Board, photograph: Picture) -> None:
    codes = [0, 5, 0x555, 0xAAA, 0xFFF]
    coded = few_colours(photograph, many, codes=codes)
    assert set(np.unique(coded.codes)) <= set(codes)
    assert set(str(coded.notes["codes_chosen"]).split()) <= {str(code) for code in codes}


def test_a_picture_in_few_of_the_boards_colours_is_unchanged(many: Board) -> None:
    codes = np.random.default_rng(1).choice([1, 77, 500, 4000], (30, 40))
    np.testing.assert_array_equal(few_colours(picture(many.palette.linear[codes]), many, count=4).codes, codes)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"keep": [1, 2, 3], "count": 2}, "keep: 3 codes, but count is 2"),
        ({"codes": [64]}, "the board has no code 64; use 0 to 63"),
        ({"codes": []}, "none are given"),
    ],
)
def test_what_cannot_be_is_refused(board: Board, photograph: Picture, options: dict, message: str) -> None:
    with pytest.raises(PictureError, match=message):
        few_colours(photograph, board, **options)
