"""Frames compared with those before, and the codes that they keep."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
import pytest
from skimage import data

from ladderlight import Board, CodedPicture, Origin, Picture
from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight.engine.coherence import Compared, compare, with_flicker
from ladderlight_stages.reductions.diffuse.stage import diffuse
from ladderlight_stages.reductions.riemersma import riemersma

Reduce = Callable[..., CodedPicture]


def picture_of(encoded: np.ndarray) -> Picture:
    """A picture from sRGB of 8 bits."""
    light = linear_from_srgb(np.clip(np.rint(encoded), 0, 255) / 255)
    return Picture(origin=Origin(name="cat", source="cat.gif"), pixels=light.astype(np.float32))


def grey(level: float, shape: tuple[int, int] = (40, 60)) -> Picture:
    """A plain picture of this sRGB level, with fractions."""
    light = np.full((*shape, 3), linear_from_srgb(np.array(level / 255)), dtype=np.float32)
    return Picture(origin=Origin(name="cat", source="cat.gif"), pixels=light)


def coded_frames(
    frames: Sequence[Picture], board: Board, still: float, reduce: Reduce = diffuse
) -> tuple[list[CodedPicture], list[Compared]]:
    """Reduce frames one after another, each with the codes that it keeps."""
    coded: list[CodedPicture] = []
    compared: list[Compared] = []
    for frame in frames:
        compared.append(compare(frame, compared[-1] if compared else None, still=still))
        before, first = (coded[-1].codes, coded[0].codes) if coded else (None, None)
        coded.append(reduce(frame, board, kept=compared[-1].kept(before, first)))
    return coded, compared


@pytest.fixture
def cat() -> np.ndarray:
    return data.chelsea()[::3, ::3].astype(float)


@pytest.fixture
def moved(cat: np.ndarray) -> np.ndarray:
    """The same with a square of it darkened."""
    changed = cat.copy()
    changed[20:40, 30:60] *= 0.5
    return changed


@pytest.mark.parametrize("reduce", [diffuse, riemersma])
def test_what_did_not_change_keeps_its_codes(board: Board, cat: np.ndarray, moved: np.ndarray, reduce: Reduce) -> None:
    first, second = picture_of(cat), picture_of(moved)
    (before, steady), _ = coded_frames([first, second], board, 0.0, reduce)
    alone = reduce(second, board)
    changed = np.zeros(before.codes.shape, dtype=bool)
    changed[20:40, 30:60] = True
    assert (steady.codes[~changed] == before.codes[~changed]).all()
    # Without it, the change reaches far beyond the square: the check above can fail.
    assert np.count_nonzero(alone.codes[~changed] != before.codes[~changed]) > 500
    assert np.count_nonzero(steady.codes[changed] != before.codes[changed]) > 100


def test_the_mean_level_of_the_whole_stays(board: Board, cat: np.ndarray, moved: np.ndarray) -> None:
    frames = [picture_of(cat), picture_of(moved)]
    (_, steady), _ = coded_frames(frames, board, 0.02)
    shown = board.palette.linear[steady.codes].mean(axis=(0, 1))
    white = board.palette.linear.max()
    assert shown == pytest.approx(np.minimum(frames[1].pixels, white).mean(axis=(0, 1)), abs=0.005)


def test_noise_that_cannot_be_seen_changes_no_code(board: Board, cat: np.ndarray) -> None:
    random = np.random.default_rng(0)
    frames = [picture_of(cat + random.normal(0, 1, cat.shape)) for _ in range(3)]
    steady, compared = coded_frames(frames, board, 0.02)
    loose, _ = coded_frames(frames, board, 0.0)
    assert max(flicker_shares(steady, compared)) < 0.002
    # Equal colours alone are few, and the dots crawl.
    assert min(flicker_shares(loose, compared)) > 0.1


def flicker_shares(frames: Sequence[CodedPicture], compared: Sequence[Compared]) -> list[float]:
    """The share of codes of each frame after the first that change where the picture does not."""
    noted = (
        with_flicker(frame, before, found.unmoved)
        for (before, frame), found in zip(pairwise(frames), compared[1:], strict=True)
    )
    return [frame.metrics["flicker_share"] for frame in noted]


def test_the_threshold_is_a_distance_in_oklab_with_cielabs_lightness() -> None:
    """For greys it is the difference in L* / 100 (CIE 15: 116 times the cube root of luminance, less 16)."""
    levels = [100.0, 104.0]
    luminance = linear_from_srgb(np.array(levels) / 255)
    lightness = (116 * np.cbrt(luminance) - 16) / 100
    gap = float(lightness[1] - lightness[0])
    first, second = (grey(level) for level in levels)
    before = compare(first, None, still=0.0)
    assert compare(second, before, still=gap * 1.01).stays.all()
    assert not compare(second, before, still=gap * 0.99).stays.any()


def test_a_slow_fade_goes_on(board: Board) -> None:
    """Each step is unseen, but the codes follow: never further from the picture than the threshold allows."""
    frames = [grey(100 + step) for step in range(61)]
    steady, compared = coded_frames(frames, board, 0.02)
    assert sum(found.stays is not None and found.stays.all() for found in compared) > 30
    for frame, found in zip(frames, steady, strict=True):
        shown = board.palette.linear[found.codes].mean()
        encoded = float(srgb_from_linear(np.array(shown)) * 255)
        wanted = float(srgb_from_linear(frame.pixels[0, 0, 0]) * 255)
        assert encoded == pytest.approx(wanted, abs=6.5)  # 0.02 is 5 sRGB levels here, and the dots are coarse


def test_what_returns_has_the_first_frames_codes(board: Board, cat: np.ndarray, moved: np.ndarray) -> None:
    """A blinking lamp: both its states have one set of codes each, and the last frame joins the first."""
    frames = [picture_of(each) for each in (cat, moved, cat)]
    (lit, _, again), _ = coded_frames(frames, board, 0.02)
    np.testing.assert_array_equal(again.codes, lit.codes)


def test_nothing_is_kept_over_a_cut(board: Board, cat: np.ndarray) -> None:
    other = 255 - cat
    other[:2, :2] = cat[:2, :2]
    found = compare(picture_of(other), compare(picture_of(cat), None, still=0.02), still=0.02)
    assert not found.stays.any()
    # ... and the codes of the frame before are not needed
    assert found.kept(None, None).codes is None


def test_a_frame_of_another_size_begins_anew(cat: np.ndarray) -> None:
    before = compare(picture_of(cat), None, still=0.02)
    assert compare(picture_of(cat[:50]), before, still=0.02).stays is None


def test_flicker_is_the_share_of_codes_that_change_where_the_picture_does_not(board: Board) -> None:
    """Counted pixel by pixel, apart from the code that is tested; CIELAB says where greys look the same."""
    random = np.random.default_rng(3)
    levels = [random.integers(60, 200, (12, 16)).astype(float)]
    levels.append(levels[0] + random.choice([0.0, 1.0, 40.0], (12, 16)))
    frames = [picture_of(np.repeat(level[:, :, None], 3, axis=2)) for level in levels]
    codes = [random.integers(0, 2, (12, 16)).astype(np.uint16) for _ in frames]
    compared = [compare(frames[0], None, still=0.0)]
    compared.append(compare(frames[1], compared[0], still=0.0))
    before, after = [frame.coded(code) for frame, code in zip(frames, codes, strict=True)]
    noted = with_flicker(after, before, compared[1].unmoved)
    still = flickering = 0
    for y in range(12):
        for x in range(16):
            if abs(levels[1][y, x] - levels[0][y, x]) <= 1:  # 1 of 255 is at most 0.5 L* here, 40 at least 12
                still += 1
                flickering += int(codes[0][y, x] != codes[1][y, x])
    assert noted.metrics["still_share"] == pytest.approx(still / 192, abs=1e-4)
    assert noted.metrics["flicker_share"] == pytest.approx(flickering / still, abs=1e-4)
    assert 0 < flickering < still < 192
    assert "flicker_share" not in with_flicker(before, after, None).metrics
