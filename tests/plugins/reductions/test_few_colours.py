"""Reduction to the best few of the board's colours."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from skimage import data
from skimage.transform import resize

from ladderlight import Board, Kept, Origin, Picture, PictureError, Survey
from ladderlight.board import linear_from_srgb
from ladderlight.stages.boundary import HooksOf
from ladderlight.stages.declaration import declaration_of
from ladderlight_stages.perception.vision import Viewer
from ladderlight_stages.reductions.few_colours import best_codes, few_colours, uses_of


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


@pytest.mark.parametrize("count", [16, 64, 256])
def test_grey_stays_grey_where_no_colour_of_the_board_is(boards: dict[str, Board], count: int) -> None:
    """The colours around grey are among the chosen: those nearest to it alone could not be mixed to it."""
    board = boards["256 colours"]
    ramp = np.broadcast_to(np.linspace(0, 0.95, 160)[:, None], (120, 160, 3))
    shown = board.palette.linear[few_colours(picture(ramp), board, count=count).codes]
    eighths = (shown - ramp).reshape(120, 8, 20, 3).mean(axis=(0, 2))
    assert np.abs(eighths).max() < 0.01


def test_the_medoids_of_separate_clusters_are_found(board: Board) -> None:
    """Three patches of the board's own colours, of very different sizes."""
    pixels = np.empty((40, 50, 3), dtype=np.float32)
    pixels[:] = board.palette.linear[3]
    pixels[:10] = board.palette.linear[60]
    pixels[30:, 45:] = board.palette.linear[12]
    none = np.zeros(0, dtype=np.uint16)
    uses = uses_of(picture(pixels), board.palette)
    np.testing.assert_array_equal(best_codes(uses, board.palette, 3, none), [3, 12, 60])
    np.testing.assert_array_equal(best_codes(uses, board.palette, 2, none), [3, 60])


def test_codes_to_keep_are_kept(many: Board, photograph: Picture) -> None:
    keep = np.array([0, 4095], dtype=np.uint16)
    chosen = best_codes(uses_of(photograph, many.palette), many.palette, 8, keep)
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
        ({"codes": []}, "codes is empty"),
    ],
)
def test_what_cannot_be_is_refused(board: Board, photograph: Picture, options: dict, message: str) -> None:
    with pytest.raises(PictureError, match=message):
        few_colours(photograph, board, **options)


def test_colours_are_counted_over_several_pictures(many: Board, photograph: Picture) -> None:
    """Each pixel counts twice, and a choice for a picture is the one for two of the same."""
    uses = uses_of(photograph, many.palette)
    assert uses.sum() == 2 * 60 * 80
    none = np.zeros(0, dtype=np.uint16)
    np.testing.assert_array_equal(
        best_codes(2 * uses, many.palette, 16, none), best_codes(uses, many.palette, 16, none)
    )


def test_the_survey_asks_for_a_look_only_where_pictures_share(many: Board, photograph: Picture) -> None:
    declaration = declaration_of(few_colours)
    for options in ({}, {"share": "picture"}, {"share": "all", "codes": [1, 2]}):
        assert HooksOf(declaration, many, options).look("the picture") is None
    look = HooksOf(declaration, many, {"share": "all", "count": 8}).look("the picture")
    assert look is not None
    own = few_colours(photograph, many, count=8).codes
    np.testing.assert_array_equal(look(photograph), np.bincount(own.ravel(), minlength=4096))


def test_pictures_that_share_use_the_colours_of_what_was_seen(many: Board, photograph: Picture) -> None:
    """Half of all that was seen is the photograph, half a plane of one colour that it does not have."""
    palette = many.palette
    plane = picture(np.broadcast_to(palette.linear[0xF0F], (60, 80, 3)))
    seen = uses_of(photograph, palette) + uses_of(plane, palette)
    survey = Survey(total=seen)
    chosen = set(best_codes(seen, palette, 8, np.zeros(0, dtype=np.uint16)).tolist())
    assert 0xF0F in chosen
    coded = [few_colours(one, many, survey=survey, count=8, share="all") for one in (photograph, plane)]
    assert set(np.unique(coded[0].codes)) <= chosen
    assert (coded[1].codes == 0xF0F).all()
    alone = few_colours(photograph, many, survey=survey, count=8)
    assert not set(np.unique(alone.codes)) <= chosen


def test_frames_keep_only_codes_that_were_chosen(many: Board, photograph: Picture) -> None:
    """What stands still keeps its codes as far as the frame's few colours allow; there are never more of them."""
    first = few_colours(photograph, many, count=8)
    kept = first.codes.astype(np.int32)
    kept[30:] = -1
    for frame in (photograph, picture(photograph.pixels * [1.0, 0.6, 0.3])):
        coded = few_colours(frame, many, kept=Kept(codes=kept), count=8)
        assert len(np.unique(coded.codes)) <= 8
        assert coded.notes["codes_chosen"] == " ".join(map(str, np.unique(coded.codes)))
    same = few_colours(photograph, many, kept=Kept(codes=kept), count=8)
    np.testing.assert_array_equal(same.codes[:30], first.codes[:30])


def test_four_greys_of_sixteen_by_hand(make_board: Callable[..., Board], memory: Callable, ladder: Callable) -> None:
    """The best four of sixteen greys for a picture of four plain parts are those four, whatever the others' order."""
    ohms = {f"v{bit}": value for bit, value in enumerate((2400.0, 1200.0, 620.0, 300.0))}
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=list(ohms)), ladder=ladder(grey=ohms), check=False)
    codes = np.repeat([15, 3, 8, 1], 30).reshape(4, 30)
    uses = uses_of(picture(board.palette.linear[codes]), board.palette)
    np.testing.assert_array_equal(np.flatnonzero(uses), [1, 3, 8, 15])
    np.testing.assert_array_equal(best_codes(uses, board.palette, 4, np.zeros(0, dtype=np.uint16)), [1, 3, 8, 15])
