"""Colour arithmetic against published figures and independent libraries."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight.proof.page.document import joined_scripts
from ladderlight_stages.perception.lab_loops import ciede2000, lab_from


@pytest.fixture(scope="module")
def page(browser):
    """A page with the colour arithmetic of the proof page."""
    page = browser.new_page()
    page.add_script_tag(content=joined_scripts(("colour",)))
    return page


def ours(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return np.asarray(ciede2000(np.ascontiguousarray(one[None]), np.ascontiguousarray(other[None]))[0])


def ours_in_single_precision(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return ours(one.astype(np.float32), other.astype(np.float32))


DIFFERENCES = [deltaE_ciede2000, ours]
"""The library's, and our own for whole pictures."""

# Sharma, Wu and Dalal, "The CIEDE2000 Color-Difference Formula", Color Research & Application 30 (2005), table 1:
# L1, a1, b1, L2, a2, b2, difference.
SHARMA = """
50.0000 2.6772 -79.7751 50.0000 0.0000 -82.7485 2.0425
50.0000 3.1571 -77.2803 50.0000 0.0000 -82.7485 2.8615
50.0000 2.8361 -74.0200 50.0000 0.0000 -82.7485 3.4412
50.0000 -1.3802 -84.2814 50.0000 0.0000 -82.7485 1.0000
50.0000 -1.1848 -84.8006 50.0000 0.0000 -82.7485 1.0000
50.0000 -0.9009 -85.5211 50.0000 0.0000 -82.7485 1.0000
50.0000 0.0000 0.0000 50.0000 -1.0000 2.0000 2.3669
50.0000 -1.0000 2.0000 50.0000 0.0000 0.0000 2.3669
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0009 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0010 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0011 7.2195
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0012 7.2195
50.0000 -0.0010 2.4900 50.0000 0.0009 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0010 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0011 -2.4900 4.7461
50.0000 2.5000 0.0000 50.0000 0.0000 -2.5000 4.3065
50.0000 2.5000 0.0000 73.0000 25.0000 -18.0000 27.1492
50.0000 2.5000 0.0000 61.0000 -5.0000 29.0000 22.8977
50.0000 2.5000 0.0000 56.0000 -27.0000 -3.0000 31.9030
50.0000 2.5000 0.0000 58.0000 24.0000 15.0000 19.4535
50.0000 2.5000 0.0000 50.0000 3.1736 0.5854 1.0000
50.0000 2.5000 0.0000 50.0000 3.2972 0.0000 1.0000
50.0000 2.5000 0.0000 50.0000 1.8634 0.5757 1.0000
50.0000 2.5000 0.0000 50.0000 3.2592 0.3350 1.0000
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
63.0109 -31.0961 -5.8663 62.8187 -29.7946 -4.0864 1.2630
61.2901 3.7196 -5.3901 61.4292 2.2480 -4.9620 1.8731
35.0831 -44.1164 3.7933 35.0232 -40.0716 1.5901 1.8645
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
36.4612 47.8580 18.3852 36.2715 50.5065 21.2231 1.4146
90.8027 -2.0831 1.4410 91.1528 -1.6435 0.0447 1.4441
90.9257 -0.5406 -0.9208 88.6381 -0.8985 -0.7239 1.5381
6.7747 -0.2908 -2.4247 5.8714 -0.0985 -2.2286 0.6377
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""


def test_half_of_full_drive() -> None:
    # IEC 61966-2-1: ((0.5 + 0.055) / 1.055) ** 2.4
    assert float(linear_from_srgb(np.array(0.5))) == pytest.approx(0.2140411, abs=5e-8)


def test_both_pieces_meet_at_the_joint() -> None:
    # IEC 61966-2-1: encoded 0.04045. The standard's rounded constants leave a step of 1e-8 or so.
    below, above = linear_from_srgb(np.array([0.04045, np.nextafter(0.04045, 1)]))
    assert above - below == pytest.approx(0, abs=1e-7)
    assert below == pytest.approx(0.04045 / 12.92)


def test_srgb_curve_against_colour_science() -> None:
    colour = pytest.importorskip("colour")  # colour-science
    encoded = np.linspace(0, 1, 4097)
    np.testing.assert_allclose(linear_from_srgb(encoded), colour.models.eotf_sRGB(encoded), atol=1e-12)
    linear = np.linspace(0, 1, 4097)
    np.testing.assert_allclose(srgb_from_linear(linear), colour.models.eotf_inverse_sRGB(linear), atol=1e-12)


def test_every_8_bit_sample_survives_the_way_there_and_back() -> None:
    samples = np.arange(256)
    linear = linear_from_srgb(samples / 255).astype(np.float32)
    np.testing.assert_array_equal(np.rint(srgb_from_linear(linear) * 255), samples)


@pytest.mark.parametrize("difference", DIFFERENCES)
def test_ciede2000_against_the_published_pairs(difference: Callable[..., np.ndarray]) -> None:
    table = np.array([line.split() for line in SHARMA.strip().splitlines()], dtype=float)
    assert len(table) == 34
    np.testing.assert_allclose(difference(table[:, :3], table[:, 3:6]), table[:, 6], atol=5e-5)


@pytest.mark.parametrize("difference", DIFFERENCES)
def test_ciede2000_against_colour_science(difference: Callable[..., np.ndarray]) -> None:
    colour = pytest.importorskip("colour")
    random = np.random.default_rng(11)
    one, other = (random.uniform((0, -80, -80), (100, 80, 80), (500, 3)) for _ in range(2))
    expected = colour.delta_E(one, other, method="CIE 2000")
    np.testing.assert_allclose(difference(one, other), expected, atol=1e-5)


def test_single_precision_is_enough_for_measures() -> None:
    """Where two hues are opposite, the formula jumps, and rounding decides; else it agrees with the double one."""
    random = np.random.default_rng(12)
    one = random.uniform((0, -80, -80), (100, 80, 80), (500, 3))
    other = one + random.normal(0, 4, one.shape)
    np.testing.assert_allclose(ours_in_single_precision(one, other), ours(one, other), atol=1e-3)


def test_cielab_of_light_against_colour_science() -> None:
    """From XYZ below zero, as filters may leave it, to above white; the library gives up below zero."""
    colour = pytest.importorskip("colour")
    white = np.array([0.95047, 1.0, 1.08883])
    xyz = np.random.default_rng(13).uniform(0, 1.2, (20, 25, 3)) ** 3
    expected = colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(white))
    np.testing.assert_allclose(lab_from(xyz, np.diag(1 / white)), expected, atol=1e-6)
    below = lab_from(np.array([[[-0.01, -0.02, 0.0]]]), np.eye(3))[0, 0]
    # CIE 15: 116 f - 16 with f = (24389 / 27 share + 16) / 116, and 500 and 200 times the differences of f
    np.testing.assert_allclose(below, [-18.066, 38.935, -31.148], atol=1e-3)


def test_cielab_against_colour_science() -> None:
    colour = pytest.importorskip("colour")
    encoded = np.random.default_rng(12).random((500, 3))
    white = np.array([0.31270, 0.32900])  # D65, as IEC 61966-2-1 rounds it
    expected = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(encoded), white)
    # The matrices of the two are rounded differently: four against seven decimals.
    np.testing.assert_allclose(rgb2lab(encoded), expected, atol=0.03)


def test_ciede2000_of_the_proof_page_against_the_published_pairs(page) -> None:
    table = [[float(word) for word in line.split()] for line in SHARMA.strip().splitlines()]
    found = page.evaluate("(rows) => rows.map((row) => colourDifference(row.slice(0, 3), row.slice(3, 6)))", table)
    assert found == pytest.approx([row[6] for row in table], abs=5e-5)


def test_cielab_of_the_proof_page_against_scikit_image(page) -> None:
    """Within what four digits of the matrix and the white point leave, far below what can be seen."""
    colours = np.random.default_rng(3).integers(0, 256, (200, 3))
    found = page.evaluate("(colours) => colours.map(labOf)", colours.tolist())
    np.testing.assert_allclose(found, rgb2lab(colours / 255), atol=0.02)
