"""Error diffusion with coefficients that depend on the level."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from ladderlight import Board, Origin, Picture
from ladderlight.board import linear_from_srgb
from ladderlight_stages.halftone.error_rows import RUN_IN, RUN_OUT
from ladderlight_stages.reductions.diffuse import variable
from ladderlight_stages.reductions.diffuse.stage import diffuse
from ladderlight_stages.reductions.diffuse.variable import coefficients


@pytest.fixture
def black_and_white(make_board: Callable[..., Board], memory: Callable, ladder: Callable) -> Board:
    """White at the peak voltage: 25 ohm x (5 / 0.7 - 1)."""
    return make_board(
        memory(address=["x2-x9", "y2-y8"], data=["w0"]), ladder=ladder(grey={"w0": 25 * (5 / 0.7 - 1)}), check=False
    )


def picture(pixels: object) -> Picture:
    return Picture(origin=Origin(name="p", source="p.png"), pixels=np.asarray(pixels, dtype=np.float32))


@pytest.mark.parametrize("name", ["ostromoukhov", "zhou_fang"])
def test_tables_are_whole_and_mirror_at_the_middle(name: str) -> None:
    table = coefficients(name)
    np.testing.assert_allclose(table.shares.sum(axis=1), 1.0)
    np.testing.assert_array_equal(table.shares, table.shares[::-1])
    assert (table.shares >= 0).all()


def test_the_first_table_equals_a_plain_loop(black_and_white: Board) -> None:
    """The algorithm written out naively in double precision."""
    # black above and below, so that nothing comes in from above and nothing has to be given back
    ramp = np.broadcast_to(np.rint(np.linspace(0, 255, 96)).astype(np.float32) / 255, (40, 96))
    ramp = np.pad(ramp, ((RUN_IN, RUN_OUT), (0, 0)))
    shares = coefficients("ostromoukhov").shares
    expected, behind, down = np.zeros(ramp.shape), np.zeros(96), np.zeros(96)
    ahead = 0.0
    for y, row in enumerate(ramp.astype(float)):
        way = -1 if y % 2 else 1
        # behind in the scan of the row above, mirrored at the ends; so is the pixel before the first
        row = row + down + np.pad(behind[::-way], 1, mode="symmetric")[2:][::-way]
        for x in range(96)[::way]:
            value = row[x] + ahead
            expected[y, x] = value > 0.5
            ahead, behind[x], down[x] = shares[round(float(ramp[y, x]) * 255)] * (value - expected[y, x])
    codes = diffuse(picture(np.repeat(ramp[..., None], 3, axis=2)), black_and_white, kernel="ostromoukhov").codes
    assert (codes == expected)[:-RUN_OUT].mean() > 0.97


def test_modulation_breaks_up_the_patterns_of_mid_grey(black_and_white: Board) -> None:
    """Without it, mid grey is a chessboard: nearly every pixel differs from the one before."""
    grey = picture(np.full((100, 100, 3), 127 / 255))
    regular = diffuse(grey, black_and_white, kernel="ostromoukhov").codes
    broken = diffuse(grey, black_and_white, kernel="zhou_fang").codes
    alternating = [np.mean(codes[20:, 1:] != codes[20:, :-1]) for codes in (regular, broken)]
    assert alternating[1] < alternating[0] - 0.05
    assert abs(broken.mean() - 127 / 255) < 0.01


def test_noise_is_the_same_every_time(black_and_white: Board) -> None:
    grey = picture(np.full((50, 60, 3), 0.4))
    first = diffuse(grey, black_and_white, kernel="zhou_fang").codes
    np.testing.assert_array_equal(diffuse(grey, black_and_white, kernel="zhou_fang").codes, first)


def grey_ramp() -> Picture:
    """sRGB 0 to 255 from left to right."""
    light = linear_from_srgb(np.linspace(0, 1, 160))
    return picture(np.broadcast_to(light[None, :, None], (120, 160, 3)))


def test_grey_stays_grey(board: Board) -> None:
    """All guns have the same levels: one random number for all must not part them."""
    codes = diffuse(grey_ramp(), board, kernel="zhou_fang").codes
    shown = board.palette.linear[np.unique(codes)]
    assert len(shown) == 4
    np.testing.assert_allclose(shown, shown[:, :1] * np.ones(3))


@pytest.fixture
def shared_intensity(make_board: Callable[..., Board], memory: Callable, ladder: Callable) -> Board:
    """Sixteen colours whose guns depend on each other: one line feeds all three."""
    channels = {name: {f"{name}0": 690.0, "bright": 1400.0} for name in ("red", "green", "blue")}
    return make_board(
        memory(address=["x2-x9", "y2-y8"], data=["red0", "green0", "blue0", "bright"]),
        ladder=ladder(**channels),
        check=False,
    )


def test_modulation_where_guns_depend_on_each_other(shared_intensity: Board) -> None:
    """A quarter of the way between two greys is a regular pattern without it, and the mean level is kept."""
    assert shared_intensity.palette.lattice is None
    light = np.unique(shared_intensity.palette.linear[:, 0])
    grey = picture(np.full((100, 100, 3), (light[0] + light[1]) / 2))
    regular = diffuse(grey, shared_intensity, kernel="ostromoukhov").codes
    broken = diffuse(grey, shared_intensity, kernel="zhou_fang").codes
    alternating = [np.mean(codes[20:, 1:] != codes[20:, :-1]) for codes in (regular, broken)]
    assert alternating[1] < alternating[0] - 0.05
    shown = shared_intensity.palette.linear[broken].mean(axis=(0, 1))
    np.testing.assert_allclose(shown, (light[0] + light[1]) / 2, atol=0.005)
    ramp = shared_intensity.palette.linear[diffuse(grey_ramp(), shared_intensity, kernel="zhou_fang").codes]
    np.testing.assert_allclose(ramp, ramp[..., :1] * np.ones(3))


@pytest.mark.parametrize("name", ["ostromoukhov", "zhou_fang"])
def test_errors_never_lead_out_of_the_palettes_tables(
    shared_intensity: Board, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Run uncompiled, where an index is checked."""
    monkeypatch.setattr(variable, "diffuse_variable", variable.diffuse_variable.function)
    pixels = np.zeros((4, 40, 3), dtype=np.float32)
    pixels[:2, :20], pixels[:2, 20:], pixels[2:] = 0.6884467305709401, 0.3889214, (1, 1, 0)
    pixels[3] = (-3, 9, 0)
    with np.errstate(over="ignore"):  # the random numbers wrap
        codes = diffuse(picture(pixels), shared_intensity, kernel=name).codes
    assert codes.max() < 16


@pytest.mark.parametrize("name", ["ostromoukhov", "zhou_fang"])
def test_errors_never_lead_out_of_the_tables(board: Board, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Along an edge a pixel receives more than one pixel's error. Run uncompiled, where an index is checked."""
    monkeypatch.setattr(variable, "diffuse_variable", variable.diffuse_variable.function)
    pixels = np.zeros((4, 40, 3), dtype=np.float32)
    pixels[:2, :20], pixels[:2, 20:], pixels[2:] = 0.6884467305709401, 0.3889214, (1, 1, 0)
    with np.errstate(over="ignore"):  # the random numbers wrap
        codes = diffuse(picture(pixels), board, kernel=name).codes
    assert codes.max() < 64
