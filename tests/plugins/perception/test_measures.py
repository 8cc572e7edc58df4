"""Figures for the manifest."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from ladderlight import Board, CodedPicture, Origin, Picture, Viewing
from ladderlight.board import linear_from_srgb
from ladderlight.stages.declaration import declaration_of
from ladderlight_stages.perception.comparison import Difference
from ladderlight_stages.perception.measures import (
    COLOUR_WORDS,
    GRAIN_WORDS,
    clipped_pixels,
    colours_used,
    flicker,
    in_words,
    with_measures,
)
from ladderlight_stages.perception.vision import Viewer, density_of
from ladderlight_stages.reductions.advise import advise
from ladderlight_stages.reductions.diffuse.kernels import KERNELS
from ladderlight_stages.reductions.diffuse.stage import diffuse, diffused
from ladderlight_stages.reductions.few_colours import few_colours
from ladderlight_stages.reductions.nearest import nearest
from ladderlight_stages.reductions.ordered import ordered
from ladderlight_stages.reductions.riemersma import riemersma
from ladderlight_stages.reductions.search import search

REDUCTIONS: list[Callable[..., CodedPicture]] = [advise, diffuse, few_colours, nearest, ordered, riemersma, search]


def picture(pixels: object) -> Picture:
    return Picture(origin=Origin(name="p", source="p.png"), pixels=np.asarray(pixels, dtype=np.float32))


def test_without_a_distance_clipping_and_colours_are_noted_all_the_same(board: Board) -> None:
    pixels = np.full((8, 8, 3), 0.3)
    pixels[:2] = 1.0  # white of the ladder is 0.97
    plain = picture(pixels)
    metrics = with_measures(plain.coded(np.zeros((8, 8), dtype=np.uint16)), plain, board, Viewing()).metrics
    assert set(metrics) == {"colour_error", "clipped_share", "colours_used"}
    assert (metrics["clipped_share"], metrics["colours_used"]) == (0.25, 1)


def test_a_picture_in_the_boards_colours_has_no_error(board: Board) -> None:
    codes = np.arange(64).reshape(8, 8).astype(np.uint16)
    exact = picture(board.palette.linear[codes])
    metrics = with_measures(exact.coded(codes), exact, board, Viewing(distance=1.0)).metrics
    assert metrics["colour_error"] == {"mean": 0.0, "p95": 0.0, "in_words": "not seen"}
    assert metrics["grain"] == {"mean": 0.0, "p95": 0.0, "in_words": "smooth"}
    assert metrics["colours_used"] == 64
    assert metrics["clipped_share"] == 0.0


def test_the_mean_lies_below_the_95th_percentile_and_dithering_shows_less_from_afar(board: Board) -> None:
    ramp = picture(np.broadcast_to(np.linspace(0, 0.9, 80)[None, :, None], (60, 80, 3)))
    near, far = (diffuse(ramp, board, distance=distance).metrics for distance in (0.3, 4.0))
    assert near["grain"]["mean"] < near["grain"]["p95"]
    assert far["grain"]["mean"] < near["grain"]["mean"] / 3
    assert near["colour_error"] == far["colour_error"]
    assert nearest(ramp, board, distance=4.0).metrics["grain"]["mean"] > far["grain"]["mean"]


@pytest.mark.parametrize(
    ("mean", "words"),
    [
        (0.0, "not seen smooth"),
        (0.999, "not seen smooth"),
        (1.0, "seen by experts fine"),
        (3.4, "seen fine"),
        (5.0, "another colour visible"),
        (60.0, "another colour coarse"),
    ],
)
def test_a_measure_in_words(mean: float, words: str) -> None:
    difference = Difference(mean=mean, p95=2 * mean)
    found = [in_words(difference, scale) for scale in (COLOUR_WORDS, GRAIN_WORDS)]
    assert " ".join(str(measure["in_words"]) for measure in found) == words
    assert found[0]["p95"] == 2 * mean


@pytest.fixture(scope="module")
def patches() -> Picture:
    """Sixteen patches of random light, 32x24."""
    rng = np.random.default_rng(2)
    return picture(np.kron(rng.random((4, 4, 3)), np.ones((6, 8, 1))))


@pytest.mark.parametrize("reduction", REDUCTIONS)
def test_every_reduction_measures_from_where_the_recipe_says(
    board: Board, patches: Picture, reduction: Callable[..., CodedPicture]
) -> None:
    viewing = Viewing(distance=1.5, screen_width=0.4)
    coded = reduction(patches, board, viewing)
    density = density_of(board, Viewing(screen_width=0.4, distance=1.5))
    error = Viewer(reference=patches.pixels, density=density).error(board.palette.linear[coded.codes])
    assert coded.metrics["pixels_per_degree"] == pytest.approx(density[0], abs=0.01)
    assert coded.metrics["grain"]["mean"] == pytest.approx(error.mean, abs=1e-3)
    assert coded.metrics["grain"]["p95"] == pytest.approx(error.p95, abs=1e-3)


@pytest.mark.parametrize("reduction", REDUCTIONS)
def test_a_stages_own_options_win_over_the_recipe(
    board: Board, patches: Picture, reduction: Callable[..., CodedPicture]
) -> None:
    viewing = Viewing(distance=1.5, screen_width=0.4)
    for options, width, distance in (
        ({"distance": 3.0}, 0.4, 3.0),
        ({"screen_width": 0.2}, 0.2, 1.5),
        ({"distance": 2.0, "screen_width": 0.3}, 0.3, 2.0),
    ):
        density = density_of(board, Viewing(screen_width=width, distance=distance))
        metrics = reduction(patches, board, viewing, **options).metrics
        assert metrics["pixels_per_degree"] == pytest.approx(density[0], abs=0.01)


@pytest.mark.parametrize("reduction", REDUCTIONS)
def test_a_stages_own_options_have_the_limits_of_the_recipe(reduction: Callable[..., CodedPicture]) -> None:
    declared = declaration_of(reduction)
    for option, bad, most in (("distance", "1.001 km", "1 km"), ("screen_width", "100.1 m", "100 m")):
        assert declared.check({option: most})[1] == []
        (problem,) = declared.check({option: bad})[1]
        assert "out of range" in str(problem)


def test_a_grey_board_is_compared_with_luminance(
    make_board: Callable[..., Board], memory: Callable, ladder: Callable, patches: Picture
) -> None:
    """Colour that no grey can show is no error of the reduction."""
    greys = make_board(
        memory(address=["x2-x9", "y2-y8"], data=["w0-w3"]),
        ladder=ladder(grey={"w0": 2000.0, "w1": 1000.0, "w2": 500.0, "w3": 250.0}),
        check=False,
    )
    light = patches.pixels @ np.array([0.2126, 0.7152, 0.0722])
    grey = replace(patches, pixels=np.repeat(light[..., None], 3, axis=-1).astype(np.float32))
    for reduction in (diffuse, ordered):
        coloured, plain = (reduction(each, greys, distance=2.0).metrics for each in (patches, grey))
        for name in ("colour_error", "grain"):
            assert coloured[name]["mean"] == pytest.approx(plain[name]["mean"], abs=0.05)
        assert coloured["colour_error"]["mean"] < 1.5


def test_light_beyond_the_boards_white_is_clipped(board: Board) -> None:
    pixels = np.full((10, 10, 3), 0.5)
    pixels[:3] = 1.0  # white of the ladder is 0.97
    assert clipped_pixels(pixels, board.palette) == 30


BOARDS = {
    "three guns": {"red": (750.0, 1600.0, 3300.0), "green": (750.0, 1600.0, 3300.0), "blue": (680.0, 1300.0)},
    "two guns": {"red": (750.0, 1600.0, 3300.0), "green": (680.0, 1300.0)},
    "greys": {"grey": (750.0, 1600.0, 3300.0)},
}


@pytest.mark.parametrize("channels", BOARDS.values(), ids=BOARDS)
def test_a_boards_own_colours_are_not_clipped_when_rounded_to_eight_bits(
    make_board: Callable[..., Board], memory: Callable, ladder: Callable, channels: dict[str, tuple[float, ...]]
) -> None:
    """A file holds them so. One gun a whole step lighter than its lightest level is clipped."""
    lines = {gun: {f"{gun}{bit}": ohms for bit, ohms in enumerate(values)} for gun, values in channels.items()}
    data = [line for gun in lines.values() for line in gun]
    palette = make_board(memory(address=["x2-x9", "y2-y8"], data=data), ladder=ladder(**lines), check=False).palette
    held = linear_from_srgb(palette.srgb8 / 255)[None].astype(np.float32)
    assert clipped_pixels(held, palette) == 0
    mixed = held[:, np.random.default_rng(1).permutation(len(palette))]
    some = picture(np.concatenate([held, mixed, (held + mixed) / 2]))
    _, clipped = diffused(some, palette, KERNELS["floyd_steinberg"])
    assert clipped == (None if "grey" in channels else 0)
    lightest = palette.srgb8[palette.linear.sum(axis=1).argmax()].astype(float)
    lightest[0 if "red" in channels else slice(None)] += 1
    assert clipped_pixels(linear_from_srgb(lightest / 255)[None, None], palette) == 1


def test_diffusion_counts_the_same_pixels_on_its_way(board: Board) -> None:
    pixels = np.random.default_rng(3).normal(0.5, 0.35, (40, 50, 3)).astype(np.float32)
    counted = clipped_pixels(pixels, board.palette)
    assert 0 < counted < 2000
    picture = Picture(origin=Origin(name="noise", source="noise.png"), pixels=pixels)
    assert diffuse(picture, board).metrics["clipped_share"] == round(counted / 2000, 4)


def test_codes_of_one_colour_count_once(board: Board) -> None:
    volts = board.palette.volts.copy()
    volts[5] = volts[4]
    codes = np.array([[4, 5], [5, 9]], dtype=np.uint16)
    assert colours_used(codes, replace(board.palette, volts=volts)) == 2


def test_flicker_of_black_and_white_frames(board: Board) -> None:
    """A quarter of the pixels goes from black to the ladder's white, L* 99, and back."""
    black = picture(np.zeros((8, 8, 3))).coded(np.zeros((8, 8), dtype=np.uint16))
    codes = black.codes.copy()
    codes[:4, :4] = 63
    found = flicker([black, replace(black, codes=codes)], board.palette)
    assert found.changed == pytest.approx(0.25)
    assert found.jump == pytest.approx(99 / 4, abs=0.3)
    assert found.unmoved == 0.0


def test_dots_that_change_places_flicker_although_nothing_moves(board: Board) -> None:
    """A chequered plane is as light when its dots change places; only half of the screen does it."""
    down, across = np.indices((64, 64))
    codes = ((down + across) % 2 * 63).astype(np.uint16)
    other = codes.copy()
    other[:, :32] ^= 63
    plain = picture(np.zeros((64, 64, 3)))
    found = flicker([plain.coded(codes), plain.coded(other)], board.palette)
    assert found.changed == pytest.approx(0.5)
    assert found.unmoved == pytest.approx(0.5, abs=0.15)  # nine pixels are an odd number, so edges may count


def test_thresholds_flicker_less_than_diffusion_where_little_moves(board: Board) -> None:
    still = np.random.default_rng(1).random((40, 60, 3)).astype(np.float32)
    moved = still.copy()
    moved[:3, :3] = 0.5
    pair = [picture(still), picture(moved)]
    diffused = flicker([diffuse(frame, board) for frame in pair], board.palette)
    thresholded = flicker([ordered(frame, board) for frame in pair], board.palette)
    assert thresholded.changed < diffused.changed / 5
    assert thresholded.unmoved < diffused.unmoved / 5


def test_of_a_large_picture_the_share_outside_the_hull_is_an_estimate(
    make_board: Callable[..., Board], memory: Callable, ladder: Callable
) -> None:
    """Counted over all rows, and over every fourth of four times as many."""
    guns = {gun: {gun: 690.0, "bright": 1400.0} for gun in ("red", "green", "blue")}
    shared = make_board(
        memory(address=["x2-x9", "y2-y8"], data=["red", "green", "blue", "bright"]), ladder=ladder(**guns), check=False
    )
    small = np.random.default_rng(5).random((240, 320, 3)) ** 2
    exact = clipped_pixels(small, shared.palette)
    assert 0.02 < exact / 76800 < 0.9
    assert clipped_pixels(small.repeat(4, axis=0), shared.palette) == 4 * exact
    noise = np.random.default_rng(6).random((960, 320, 3)) ** 2
    assert clipped_pixels(noise, shared.palette) == pytest.approx(4 * exact, rel=0.05)
