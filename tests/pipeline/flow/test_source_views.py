"""Views of pictures before the reduction, and which part of a file a picture shows."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from ladderlight.flow.images import source_view
from ladderlight.flow.pictures import WHOLE, FilePart, Origin, Picture


def picture(pixels: np.ndarray, part: FilePart | None = None) -> Picture:
    return Picture(origin=Origin(name="quay", source="quay.png"), pixels=pixels.astype(np.float32), part=part)


def test_a_view_is_a_jpeg_in_the_colours_of_srgb() -> None:
    """Values from the sRGB curve of IEC 61966-2-1: light 0.2140 is half of the scale, 0.0331 a fifth."""
    light = np.zeros((48, 64, 3))
    light[:, 16:32], light[:, 32:48], light[:, 48:] = 0.0331, 0.2140, (1.0, 0.0, 0.0)
    view = source_view(picture(light))
    with Image.open(io.BytesIO(view.data)) as image:
        assert (image.format, image.size, image.mode) == ("JPEG", (64, 48), "RGB")
        assert image.layer[0][1:3] == (2, 2), "the lightness is sampled twice as finely as the colours"
        shown = np.asarray(image)[24, [8, 24, 40, 56]]
    np.testing.assert_allclose(shown, [[0] * 3, [51] * 3, [128] * 3, [255, 0, 0]], atol=4)


def test_light_that_rounding_has_taken_beyond_its_range_does_not_wrap() -> None:
    with Image.open(io.BytesIO(source_view(picture(np.full((8, 8, 3), -1e-4))).data)) as image:
        assert np.asarray(image).max() == 0
    with Image.open(io.BytesIO(source_view(picture(np.full((8, 8, 3), 1 + 1e-4))).data)) as image:
        assert np.asarray(image).min() == 255


def test_what_is_not_known_is_not_claimed() -> None:
    whole = picture(np.zeros((6, 8, 3)), FilePart(size=(800, 600)))
    assert (source_view(whole).size, source_view(whole).crop) == ((800, 600), (0, 0, 800, 600))
    other = whole.with_pixels(np.zeros((3, 8, 3), dtype=np.float32))
    assert (source_view(other).size, source_view(other).crop) == ((800, 600), None)
    assert source_view(other.with_pixels(other.pixels, WHOLE)).crop is None
    turned = whole.with_turned_pixels(whole.pixels)
    assert (source_view(turned).size, source_view(turned).crop) == ((800, 600), None)
    unsaid = replace(whole, part=None)
    assert (source_view(unsaid).size, source_view(unsaid).crop) == (None, None)


def test_a_border_is_no_part_of_the_file() -> None:
    framed = picture(np.zeros((6, 8, 3)), FilePart(size=(400, 400))).with_pixels(np.zeros((6, 8, 3)), (-0.5, 0, 1.5, 1))
    assert source_view(framed).crop == (0, 0, 400, 400)


shares = st.tuples(st.floats(0, 0.45), st.floats(0, 0.45), st.floats(0.55, 1), st.floats(0.55, 1))


@given(st.lists(shares, max_size=4), st.booleans())
def test_boxes_in_boxes_are_where_their_corners_are(boxes: list[tuple[float, float, float, float]], mirrored) -> None:
    part, corners = FilePart(size=(1000, 1000)), np.array([[0.0, 0.0], [1.0, 1.0]])
    for left, top, right, bottom in boxes:
        if mirrored:
            left, right = right, left
        part = part.within((left, top, right, bottom))
        # Outside in: a point of the inner picture lies at so much of the way from one edge of the outer to the other.
        corners = corners[0] + np.array([[left, top], [right, bottom]]) * (corners[1] - corners[0])
    assert part.box == pytest.approx(tuple(corners.ravel()))
    assert part.crop == pytest.approx([*np.sort(corners, axis=0).ravel() * 1000], abs=0.501)
