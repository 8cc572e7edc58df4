"""OKLab against its author's published figures and colour-science."""

from __future__ import annotations

import warnings

import numpy as np

from ladderlight.colour.spaces import oklab_from_linear


def test_srgb_red() -> None:
    """B. Ottosson, A perceptual color space for image processing (2020): sRGB red."""
    np.testing.assert_allclose(oklab_from_linear(np.array([1.0, 0, 0])), [0.627955, 0.224863, 0.125846], atol=2e-6)


def test_against_colour_science() -> None:
    """The library colour-science, from XYZ as BT.709 primaries give it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        linear = np.random.default_rng(1).random((500, 3))
        xyz = colour.RGB_to_XYZ(linear, "sRGB", apply_cctf_decoding=False)
        expected = colour.XYZ_to_Oklab(xyz)
    np.testing.assert_allclose(oklab_from_linear(linear), expected, atol=2e-4)
