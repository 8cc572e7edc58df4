"""Tone: each option by itself against its formula, and the white point against colour-science."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight import PictureError
from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight_stages.pictures.tone import tone

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


def ramp(picture):
    """Grey, 0 to 1 in sRGB values."""
    return picture(np.repeat(linear_from_srgb(np.linspace(0, 1, 101))[np.newaxis, :, np.newaxis], 3, axis=2))


def encoded(result) -> np.ndarray:
    return srgb_from_linear(result.pixels)[0, :, 0]


def test_defaults_change_nothing(picture):
    source = picture(size=(8, 6))
    np.testing.assert_array_equal(tone(source).pixels, source.pixels)


def test_exposure_counts_in_stops_of_light(picture):
    source = picture(size=(8, 6))
    np.testing.assert_allclose(tone(source, exposure=-1).pixels, source.pixels / 2)
    np.testing.assert_allclose(tone(source, exposure=1).pixels, np.minimum(source.pixels * 2, 1))


def test_levels(picture):
    values = encoded(tone(ramp(picture), black_level=0.2, white_level=0.7))
    np.testing.assert_allclose(values, np.clip((np.linspace(0, 1, 101) - 0.2) / 0.5, 0, 1), atol=1e-6)
    with pytest.raises(
        PictureError, match=r"black_level 0\.7 must lie below white_level 0\.2; lower black_level or raise white_level"
    ):
        tone(ramp(picture), black_level=0.7, white_level=0.2)


@pytest.mark.parametrize("slope", [0.5, 1.0, 2.5])
def test_contrast_turns_about_the_middle(picture, slope):
    values = encoded(tone(ramp(picture), contrast=slope))
    np.testing.assert_allclose(values[[0, 50, 100]], [0, 0.5, 1], atol=1e-6)
    assert (values[51] - values[49]) / 0.02 == pytest.approx(slope, rel=0.02)
    assert (np.diff(values) > 0).all()
    back = encoded(tone(tone(ramp(picture), contrast=slope), contrast=1 / slope))
    np.testing.assert_allclose(back, np.linspace(0, 1, 101), atol=1e-4)


def test_gamma(picture):
    values = encoded(tone(ramp(picture), gamma=2.0))
    np.testing.assert_allclose(values, np.sqrt(np.linspace(0, 1, 101)), atol=1e-5)


def test_no_saturation_is_grey_of_the_same_luminance(picture):
    source = picture(size=(20, 20))
    result = tone(source, saturation=0).pixels
    np.testing.assert_allclose(result, np.repeat((source.pixels @ LUMINANCE)[:, :, np.newaxis], 3, axis=2), rtol=1e-5)


@pytest.mark.parametrize("factor", [0.5, 1.5, 10.0])
def test_saturation_keeps_luminance_and_hue(picture, factor):
    source = picture(size=(40, 40))
    result = tone(source, saturation=factor).pixels
    np.testing.assert_allclose(result @ LUMINANCE, source.pixels @ LUMINANCE, atol=2e-6)
    before, after = (pixels - (pixels @ LUMINANCE)[:, :, np.newaxis] for pixels in (source.pixels, result))
    gain = (after * before).sum(axis=2) / (before**2).sum(axis=2)
    np.testing.assert_allclose(after, before * gain[:, :, np.newaxis], atol=1e-5)
    assert gain.max() <= factor + 1e-3
    assert (gain > factor - 1e-3).any() or factor == 10
    assert result.min() >= 0
    assert result.max() <= 1


def test_the_white_point_becomes_neutral(picture):
    lamp = linear_from_srgb(np.array([0xFF, 0xD2, 0x9E]) / 255)
    result = tone(picture(np.array([[lamp, lamp / 4]])), white_point="#ffd29e").pixels[0]
    np.testing.assert_allclose(result[0], lamp @ LUMINANCE, atol=2e-4)
    np.testing.assert_allclose(result[1], lamp @ LUMINANCE / 4, atol=2e-4)
    source = picture(size=(8, 6))
    np.testing.assert_array_equal(tone(source, white_point="#808080").pixels, source.pixels)
    with pytest.raises(PictureError, match="has no light"):
        tone(source, white_point="black")


def test_the_white_point_against_colour_science(picture):
    colour = pytest.importorskip("colour")
    lamp = linear_from_srgb(np.array([0xFF, 0xD2, 0x9E]) / 255)
    source = np.random.default_rng(5).random((200, 3)) * 0.5
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    white = to_xyz @ lamp
    adapted = colour.adaptation.chromatic_adaptation_VonKries(
        source @ to_xyz.T, white / white[1], to_xyz @ np.ones(3), transform="Bradford"
    )
    expected = np.clip(adapted @ np.linalg.inv(to_xyz).T, 0, 1)
    result = tone(picture(source[np.newaxis]), white_point="#ffd29e").pixels[0]
    np.testing.assert_allclose(result, expected, atol=1e-5)
