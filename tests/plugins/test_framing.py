"""Proportions: parts, frames, and pictures made of the board's own pixels."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ladderlight_stages.framing import (
    drawn_for,
    enlargement,
    framed,
    largest_part,
    largest_size,
    screen_aspect,
    shares_around,
    within_a_pixel,
)

SIDES = st.integers(1, 3000)
ASPECTS = st.floats(0.2, 5)


def test_the_screens_proportions(board, wide_pixels):
    assert screen_aspect(board) == pytest.approx(4 / 3)
    assert screen_aspect(wide_pixels) == pytest.approx(4 / 3)


@given(SIDES, SIDES, ASPECTS, st.floats(0, 1), st.floats(0, 1))
def test_a_part_lies_in_the_picture_and_has_its_proportions(width, height, aspect, x, y):
    part = largest_part(width, height, aspect, x=x, y=y)
    assert 0 <= part.left < part.right <= width
    assert 0 <= part.top < part.bottom <= height
    kept_width, kept_height = largest_size(width, height, aspect)
    assert kept_width / kept_height == pytest.approx(aspect)
    assert part.right - part.left == pytest.approx(kept_width, abs=1.0001)
    assert part.bottom - part.top == pytest.approx(kept_height, abs=1.0001)


@given(st.integers(2, 3000), st.integers(2, 3000), ASPECTS)
def test_a_centred_part_is_exactly_centred(width, height, aspect):
    part = largest_part(width, height, aspect)
    if part.right - part.left > 1:
        assert part.left == width - part.right
    if part.bottom - part.top > 1:
        assert part.top == height - part.bottom


@given(st.integers(8, 3000), st.integers(8, 3000), st.floats(-100, 4000), st.floats(-100, 4000))
def test_around_a_point(width, height, x, y):
    part = largest_part(width, height, 1.0, **dict(zip("xy", shares_around(x, y, width, height, 1.0), strict=True)))
    if part.left > 1 and part.right < width - 1:
        assert (part.left + part.right) / 2 == pytest.approx(x, abs=1)
    if part.top > 1 and part.bottom < height - 1:
        assert (part.top + part.bottom) / 2 == pytest.approx(y, abs=1)


@pytest.mark.parametrize(
    ("size", "aspect", "right"), [((400, 300), 4 / 3, True), ((401, 300), 4 / 3, True), ((402, 300), 4 / 3, False)]
)
def test_within_a_pixel(size, aspect, right):
    assert within_a_pixel(*size, aspect) is right


def test_a_frame(picture):
    inner = picture(np.ones((2, 3, 3)))
    result = framed(inner, 0.5, np.array([0, 0.5, 0], dtype=np.float32)).pixels
    assert result.shape == (6, 3, 3)
    np.testing.assert_array_equal(result[2:4], inner.pixels)
    np.testing.assert_array_equal(result[[0, 1, 4, 5], :, 1], 0.5)
    assert framed(inner, 1.5, np.zeros(3, dtype=np.float32)).pixels.shape == (2, 3, 3)


def test_enlargement(board, picture):
    small = np.random.default_rng(1).random((120, 160, 3))
    assert enlargement(picture(small), board) == (1, 1)
    assert enlargement(picture(small.repeat(3, axis=0).repeat(2, axis=1)), board) == (2, 3)
    assert enlargement(picture(size=(320, 240)), board) is None
    assert enlargement(picture(size=(161, 120)), board) is None
    almost = small.repeat(2, axis=0).repeat(2, axis=1)
    almost[-1, -1] += 0.01
    assert enlargement(picture(almost), board) is None


def test_drawn_for(board, picture):
    codes = np.random.default_rng(1).integers(0, 64, (120, 160))
    assert drawn_for(picture(board.palette.linear[codes]), board)
    assert not drawn_for(picture(board.palette.linear[codes] * 0.9), board)
    assert not drawn_for(picture(board.palette.linear[codes][:60]), board)
