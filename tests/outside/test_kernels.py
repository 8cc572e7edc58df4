"""Error diffusion against the published kernels and against Pillow's own Floyd-Steinberg."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from PIL import Image

from ladderlight import Board, Origin, Picture
from ladderlight_stages.reductions.diffuse.kernels import KERNELS
from ladderlight_stages.reductions.diffuse.stage import diffuse
from ladderlight_stages.reductions.diffuse.variable import coefficients

# Each figure as it stands in the paper, X the current pixel, numerators over the divisor; sources beside each.
PUBLISHED = {
    # Floyd and Steinberg, Proc. SID 17 (1976) 75-77
    "floyd_steinberg": (16, ". X 7", "3 5 1"),
    # Jarvis, Judice and Ninke, Computer Graphics and Image Processing 5 (1976) 13-40
    "jarvis_judice_ninke": (48, ". . X 7 5", "3 5 7 5 3", "1 3 5 3 1"),
    # Stucki, IBM Research Report RZ1060 (1981)
    "stucki": (42, ". . X 8 4", "2 4 8 4 2", "1 2 4 2 1"),
    # Burkes (1988); unpublished, common practice
    "burkes": (32, ". . X 8 4", "2 4 8 4 2"),
    # Sierra (1989-90); unpublished, common practice
    "sierra": (32, ". . X 5 3", "2 4 5 4 2", ". 2 3 2 ."),
    "sierra_two_row": (16, ". . X 4 3", "1 2 3 2 1"),
    "sierra_light": (4, ". X 2", "1 1 ."),
    # Atkinson (mid-1980s); unpublished, common practice: six eighths
    "atkinson": (8, ". X 1 1", "1 1 1 .", ". 1 . ."),
    # Fan, IS&T 46th Annual Conference (1993) 113-115
    "fan": (16, ". . X 7", "1 3 5 ."),
    # Shiau and Fan, Proc. SPIE 2658 (1996) 222-225
    "shiau_fan": (8, ". . X 4", "1 1 2 ."),
    "shiau_fan_wide": (16, ". . . X 8", "1 1 2 4 ."),
}
# Stevenson and Arce, J. Opt. Soc. Am. A 2 (1985) 1009-1013: hexagonal pixels, columns of half a pixel
HEXAGONAL = {
    "stevenson_arce": (200, ". . . X . 32 .", "12 . 26 . 30 . 16", ". 12 . 26 . 12 .", "5 . 12 . 12 . 5"),
}


def figure(rows: tuple[str, ...]) -> dict[tuple[int, int], int]:
    """Read a figure: (rows down, pixels right of X) to numerator."""
    origin = rows[0].split().index("X")
    return {
        (down, place - origin): int(entry)
        for down, row in enumerate(rows)
        for place, entry in enumerate(row.split())
        if entry not in ".X"
    }


@pytest.mark.parametrize("name", PUBLISHED)
def test_kernels_are_as_published(name: str) -> None:
    divisor, *rows = PUBLISHED[name]
    kernel = KERNELS[name]
    assert {(down, right): numerator for down, right, numerator in kernel.taps()} == figure(tuple(rows))
    assert kernel.divisor == divisor


@pytest.mark.parametrize("row", [0, 1])
@pytest.mark.parametrize("name", HEXAGONAL)
def test_hexagonal_kernels_are_as_published_where_every_other_row_is_shifted(name: str, row: int) -> None:
    """Odd rows are shifted to the right by half a pixel and scanned to the left, even ones to the right."""
    divisor, *rows = HEXAGONAL[name]
    kernel = KERNELS[name]
    forward = -1 if row % 2 else 1
    found = {}
    for down, ahead, numerator in kernel.taps():
        halves = 2 * forward * ahead + (row + down) % 2 - row % 2
        found[down, forward * halves] = numerator
    assert found == figure(tuple(rows))
    assert kernel.divisor == divisor


def test_every_kernel_has_been_compared() -> None:
    assert set(KERNELS) == set(PUBLISHED) | set(HEXAGONAL)


@pytest.mark.parametrize("name", KERNELS)
def test_numerators_add_up_to_the_divisor(name: str) -> None:
    assert KERNELS[name].total == pytest.approx(6 / 8 if name == "atkinson" else 1.0, abs=1e-12)


@pytest.fixture
def black_and_white(make_board: Callable[..., Board], memory: Callable, ladder: Callable) -> Board:
    """One resistor into three monitor inputs in parallel, white at the peak voltage: 25 ohm x (5 / 0.7 - 1)."""
    return make_board(
        memory(address=["x2-x9", "y2-y8"], data=["w0"]), ladder=ladder(grey={"w0": 25 * (5 / 0.7 - 1)}), check=False
    )


def test_floyd_steinberg_keeps_the_mean_of_a_grey_ramp_as_pillow_does(black_and_white: Board) -> None:
    """Pillow (libImaging) works on the numbers of an "L" picture; ours is given the same numbers as light."""
    ramp = np.broadcast_to(np.arange(256, dtype=np.uint8), (256, 256))
    theirs = np.asarray(Image.fromarray(ramp.copy()).convert("1", dither=Image.Dither.FLOYDSTEINBERG), dtype=float)
    light = np.repeat(ramp[..., None] / np.float32(255), 3, axis=2)
    picture = Picture(origin=Origin(name="ramp", source="ramp.png"), pixels=light)
    for scan in ("raster", "serpentine"):
        ours = diffuse(picture, black_and_white, scan=scan, kernel="floyd_steinberg").codes
        assert abs(ours.mean() - theirs.mean()) < 0.01
        # and so in every part of the ramp, 16 columns at a time
        parts = ours.reshape(256, 16, 16).mean(axis=(0, 2)) - theirs.reshape(256, 16, 16).mean(axis=(0, 2))
        assert np.abs(parts).max() < 0.02


# Rows of the published tables: level, ahead, down and behind, down.
# V. Ostromoukhov, A simple and efficient error-diffusion algorithm, SIGGRAPH 2001, coefficient table.
OSTROMOUKHOV = [(0, 13, 0, 5), (4, 8, 0, 5), (22, 3, 2, 1), (42, 13, 9, 6), (126, 395, 104, 101), (127, 4, 1, 1)]
# B. Zhou and X. Fang, Improving mid-tone quality of variable-coefficient error diffusion using threshold modulation,
# SIGGRAPH 2003, key levels; and the strength of the modulation.
ZHOU_FANG = [(0, 13, 0, 5), (22, 46613, 31917, 21469), (64, 36411, 43219, 20369), (127, 35269, 36066, 28664)]
MODULATION = [(0, 0.0), (44, 0.34), (64, 0.5), (85, 1.0), (95, 0.17), (102, 0.5), (107, 0.7), (112, 0.79), (127, 1.0)]


@pytest.mark.parametrize(("name", "rows"), [("ostromoukhov", OSTROMOUKHOV), ("zhou_fang", ZHOU_FANG)])
def test_variable_coefficients_are_as_published(name: str, rows: list[tuple[int, int, int, int]]) -> None:
    for level, *weights in rows:
        expected = np.array(weights) / sum(weights)
        np.testing.assert_allclose(coefficients(name).shares[level], expected, atol=1e-12)
        np.testing.assert_allclose(coefficients(name).shares[255 - level], expected, atol=1e-12)


def test_threshold_modulation_is_as_published() -> None:
    for level, strength in MODULATION:
        assert coefficients("zhou_fang").modulation[level] == pytest.approx(strength)
    assert not coefficients("ostromoukhov").modulation.any()
