"""Error diffusion onto lattices, greys and any set of colours."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from ladderlight import Board, Origin, Picture, PictureError
from ladderlight.board import linear_from_srgb
from ladderlight_stages.halftone.error_rows import RUN_IN, RUN_OUT
from ladderlight_stages.reductions.diffuse.kernels import KERNELS, VARIABLE
from ladderlight_stages.reductions.diffuse.stage import diffuse

NAMES = [*KERNELS, *VARIABLE]
BoardMaker = Callable[..., Board]


def picture(pixels: object) -> Picture:
    return Picture(origin=Origin(name="p", source="p.png"), pixels=np.asarray(pixels, dtype=np.float32))


def ramp(low: float, high: float, width: int = 256, height: int = 128) -> np.ndarray:
    return np.broadcast_to(np.linspace(low, high, width, dtype=np.float32)[None, :, None], (height, width, 3)).copy()


BOARDS = [
    "lattice",
    "black and white",
    "grey 4",
    "eight colours",
    "256 colours",
    "16-bit codes",
    "shared intensity",
]


@pytest.mark.parametrize("name", BOARDS)
def test_a_coded_picture_reduced_again_is_unchanged(boards: dict[str, Board], name: str) -> None:
    board = boards[name]
    rng = np.random.default_rng(1)
    first = diffuse(picture(rng.random((40, 60, 3))), board)
    again = diffuse(picture(board.palette.linear[first.codes]), board, kernel="stucki")
    assert len(np.unique(first.codes)) > 1
    np.testing.assert_array_equal(again.codes, first.codes)


@pytest.mark.parametrize("name", BOARDS)
def test_a_colour_of_the_board_keeps_its_code_beside_others(boards: dict[str, Board], name: str) -> None:
    """One pixel of another colour defeats the short cut for exact pictures; the loops themselves must be exact."""
    board = boards[name]
    for code in range(0, len(board.palette), max(1, len(board.palette) // 5)):
        pixels = np.broadcast_to(board.palette.linear[code], (90, 120, 3)).copy()
        pixels[-1, -1] = (0.3, 0.2, 0.4)
        same = (board.palette.linear == board.palette.linear[code]).all(axis=1)
        for kernel in ("floyd_steinberg", "ostromoukhov"):
            codes = diffuse(picture(pixels), board, scan="raster", kernel=kernel).codes
            assert (codes[:-1] == np.flatnonzero(same)[0]).all()


def test_an_indexed_picture_in_the_boards_8_bit_colours_keeps_its_codes(board: Board) -> None:
    codes = np.random.default_rng(2).integers(0, 64, (200, 300))
    pixels = linear_from_srgb(board.palette.srgb8[codes] / 255)
    np.testing.assert_array_equal(diffuse(picture(pixels), board).codes, codes)


@pytest.mark.parametrize("scan", ["serpentine", "raster"])
@pytest.mark.parametrize("kernel", NAMES)
@pytest.mark.parametrize("name", BOARDS)
def test_the_mean_level_of_a_ramp_is_kept(boards: dict[str, Board], name: str, kernel: str, scan: str) -> None:
    """From side to side, from top to bottom and back, to half a percent of the mean."""
    board = boards[name]
    across = ramp(board.palette.linear.min(), board.palette.linear.max(axis=0).min())
    down = np.ascontiguousarray(ramp(*across[0, [0, -1], 0], 128, 192).transpose(1, 0, 2))
    # the error that Atkinson's filter drops evens out along each row of a ramp across only
    for pixels in (across,) if kernel == "atkinson" else (across, down, down[::-1]):
        shown = board.palette.linear[diffuse(picture(pixels), board, kernel=kernel, scan=scan).codes]
        np.testing.assert_allclose(shown.mean(axis=(0, 1)), pixels.mean(axis=(0, 1)), rtol=0.005)


@pytest.mark.parametrize("kernel", [name for name in NAMES if name != "atkinson"])  # it drops faint light
@pytest.mark.parametrize("share", [0.02, 0.05, 0.95])
def test_the_first_and_last_rows_are_as_any(boards: dict[str, Board], kernel: str, share: float) -> None:
    """Faint grey between black and white: from no errors at all, the first ten rows and more would have no dots."""
    board = boards["black and white"]
    white = float(board.palette.linear.max())
    pixels = np.full((64, 600, 3), share * white)
    shown = board.palette.linear[diffuse(picture(pixels), board, kernel=kernel).codes][..., 0] / white
    dots = np.abs(shown - round(share)).mean(axis=1)
    faint = dots[24:40].mean()
    for rows in (dots[:6], dots[6:12], dots[-12:-6], dots[-6:]):
        assert 0.4 * faint < rows.mean() < 2 * faint


def test_atkinson_lets_a_quarter_of_the_error_go(board: Board) -> None:
    pixels = np.full((64, 64, 3), 0.01)
    shown = board.palette.linear[diffuse(picture(pixels), board, kernel="atkinson").codes]
    assert shown.mean() < 0.009


def test_without_strength_each_gun_goes_to_its_nearest_level(board: Board) -> None:
    pixels = np.random.default_rng(3).random((50, 70, 3))
    codes = diffuse(picture(pixels), board, strength=0.0).codes
    shown = board.palette.linear[codes]
    levels = board.palette.lattice.levels
    for gun in range(3):
        nearest = levels[gun][np.abs(pixels[..., gun, None] - levels[gun]).argmin(axis=-1)]
        # a bin of light is at most a sixteenth of the smallest step wide
        clear = np.sort(np.abs(pixels[..., gun, None] - levels[gun]), axis=-1)
        sure = clear[..., 1] - clear[..., 0] > np.diff(levels[gun]).min() / 16
        np.testing.assert_array_equal(shown[..., gun][sure], nearest[sure])


def test_without_strength_any_palette_takes_a_nearest_colour_of_its_space(boards: dict[str, Board]) -> None:
    """The border between two colours may be overstepped by less than half their distance."""
    from ladderlight_stages.halftone.palette_tables import palette_tables

    board = boards["shared intensity"]
    pixels = np.random.default_rng(4).random((50, 70, 3)).astype(np.float32)
    transform = palette_tables(board.palette, 0.25).transform
    points, colours = pixels @ transform.T, board.palette.linear @ transform.T
    gaps = np.linalg.norm(points[:, :, None] - colours, axis=-1)
    codes = diffuse(picture(pixels), board, strength=0.0).codes
    best = gaps.argmin(axis=-1)
    chosen = np.take_along_axis(gaps, codes[..., None].astype(int), axis=-1)[..., 0]
    apart = np.maximum(np.linalg.norm(colours[codes] - colours[best], axis=-1), 1e-9)
    over = (chosen**2 - gaps.min(axis=-1) ** 2) / (2 * apart**2)
    assert over.max() < 0.46
    assert (codes == best).mean() > 0.9


def test_floyd_steinberg_equals_a_plain_loop_in_exact_arithmetic(boards: dict[str, Board]) -> None:
    """The same algorithm written out naively in double precision: nearly all codes are the same."""
    board = boards["black and white"]
    # black above and below, so that nothing comes in from above and nothing has to be given back
    pixels = np.pad(ramp(0.0, float(board.palette.linear.max()), 64, 48), ((RUN_IN, RUN_OUT), (0, 0), (0, 0)))
    levels = np.unique(board.palette.linear[:, 0])
    expected, above = np.zeros(pixels.shape[:2]), np.zeros(64)
    for y, row in enumerate(pixels[..., 0].astype(float)):
        # both rows in the direction of the scan above, mirrored at their ends
        way = -1 if y % 2 else 1
        before = np.pad(above[::-way], 1, mode="symmetric")
        row = row + ((3 * before[2:] + 5 * before[1:-1] + before[:-2]) / 16)[::-way]
        error = above[::way][0]
        for x in range(64)[::way]:
            value = row[x] + error * 7 / 16
            expected[y, x] = levels[np.abs(levels - value).argmin()]
            above[x] = error = value - expected[y, x]
    shown = board.palette.linear[diffuse(picture(pixels), board, kernel="floyd_steinberg").codes][..., 0]
    assert (shown == expected)[:-RUN_OUT].mean() > 0.98


def test_light_beyond_the_boards_does_not_bleed(boards: dict[str, Board]) -> None:
    """Full red, which the board cannot show, to the left of mid grey: the grey stays grey."""
    for name in ("lattice", "shared intensity"):
        board = boards[name]
        pixels = np.full((60, 120, 3), 0.3, dtype=np.float32)
        pixels[:, :60] = (1.0, 0.0, 0.0)
        shown = board.palette.linear[diffuse(picture(pixels), board, scan="raster").codes]
        near = shown[:, 62:70].mean(axis=(0, 1))
        np.testing.assert_allclose(near, 0.3, atol=0.06)


@pytest.mark.parametrize("shape", [(1, 1), (1, 7), (7, 1), (2, 2), (3, 5)])
@pytest.mark.parametrize("kernel", NAMES)
def test_small_pictures(boards: dict[str, Board], shape: tuple[int, int], kernel: str) -> None:
    for board in boards.values():
        codes = diffuse(picture(np.full((*shape, 3), 0.4)), board, kernel=kernel).codes
        assert codes.shape == shape
        assert codes.dtype == np.uint16
        assert codes.max() < len(board.palette)


def test_not_a_number_and_light_out_of_range_do_no_harm(boards: dict[str, Board]) -> None:
    pixels = np.full((30, 30, 3), 0.4, dtype=np.float32)
    pixels[3, 3], pixels[5, 5], pixels[7, 7], pixels[9, 9] = np.nan, np.inf, -np.inf, 1e9
    with np.errstate(invalid="ignore", over="ignore"):
        for board in boards.values():
            for kernel in ("floyd_steinberg", "zhou_fang"):
                codes = diffuse(picture(pixels), board, kernel=kernel).codes
                assert codes.max() < len(board.palette)


def test_of_several_codes_with_one_colour_the_lowest_is_used(
    make_board: BoardMaker, memory: Callable, ladder: Callable
) -> None:
    """A ladder far too strong: more than the peak voltage shows as white, so that several codes are white."""
    strong = {"0": 100.0, "1": 100.0}
    board = make_board(
        memory(address=["x2-x9", "y2-y8"], data=["b0", "b1", "g0", "g1", "r0", "r1"]),
        ladder=ladder(
            red={f"r{k}": v for k, v in strong.items()},
            green={f"g{k}": v for k, v in strong.items()},
            blue={f"b{k}": v for k, v in strong.items()},
        ),
        check=False,
    )
    codes = diffuse(picture(np.random.default_rng(5).random((20, 20, 3))), board).codes
    colours = [tuple(colour) for colour in board.palette.linear]
    assert all(colours.index(colours[code]) == code for code in np.unique(codes))


def test_a_kernel_of_ones_own_equals_the_named_one(board: Board) -> None:
    pixels = picture(np.random.default_rng(6).random((40, 50, 3)))
    own = diffuse(pixels, board, weights=[[7.0], [3.0, 5.0, 1.0]], divisor=16.0)
    np.testing.assert_array_equal(own.codes, diffuse(pixels, board, kernel="floyd_steinberg").codes)


@pytest.mark.parametrize(
    ("weights", "divisor", "message"),
    [
        ([[1.0], [1.0, 1.0]], None, "without a middle"),
        ([[-1.0], [3.0]], None, "negative"),
        ([[0.0]], None, "all are zero"),
        ([[7.0], [3.0, 5.0, 1.0]], 8.0, "their sum is 16, above the divisor 8"),
        ([[1.0] * 4], None, "at most 2 pixels ahead"),
    ],
)
def test_what_is_not_a_kernel_is_refused(board: Board, weights: object, divisor: object, message: str) -> None:
    with pytest.raises(PictureError, match=message):
        diffuse(picture(np.random.default_rng(7).random((8, 8, 3))), board, weights=weights, divisor=divisor)


def test_read_only_and_strided_pixels_are_taken(board: Board) -> None:
    pixels = np.random.default_rng(8).random((40, 50, 3)).astype(np.float32)
    expected = diffuse(picture(pixels), board).codes
    frozen = pixels.copy()
    frozen.setflags(write=False)
    np.testing.assert_array_equal(diffuse(picture(frozen), board).codes, expected)
    strided = np.asfortranarray(pixels)
    np.testing.assert_array_equal(diffuse(picture(strided), board).codes, expected)
    np.testing.assert_array_equal(pixels, np.random.default_rng(8).random((40, 50, 3)).astype(np.float32))


def test_every_kernel_has_a_name_in_the_recipe() -> None:
    from typing import get_args

    from ladderlight_stages.reductions.diffuse.stage import KernelName

    assert list(get_args(KernelName)) == NAMES
