"""Colour error against SciPy's Gaussian blur and the CIEDE2000 of colour-science."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from ladderlight_stages.perception.areas import Areas, step_for
from ladderlight_stages.perception.blur_loops import blurred


def expected(reference: np.ndarray, shown: np.ndarray, sigma: tuple[float, float]) -> np.ndarray:
    """Differences at all pixels; ``sigma`` is down and across, the picture reflected at its edges."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
        # sRGB's matrix to four digits, as IEC 61966-2-1 prints it
        to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
        labs = [
            colour.XYZ_to_Lab(gaussian_filter(light, (*sigma, 0), mode="reflect") @ to_xyz.T, white)
            for light in (reference, shown)
        ]
        return np.asarray(colour.delta_E(*labs, method="CIE 2000"))


@pytest.mark.parametrize(
    ("aspect", "sigma"),
    [(1.0, (2.0, 2.0)), (2.0, (2.0, 1.0)), (0.5, (1.0, 2.0)), (1.25, (2.0, 1.6))],
)
def test_two_pixels_of_the_shorter_side(aspect: float, sigma: tuple[float, float]) -> None:
    """Pixels twice as wide as high are blurred over two of their heights, which is one width."""
    rng = np.random.default_rng(1)
    # orange: hues far from each other's opposite, where the formula jumps
    reference = rng.random((30, 41, 3)) * 0.4 + [0.5, 0.25, 0.05]
    shown = np.clip(reference + rng.normal(0, 0.3, reference.shape), 0, 1)
    found = Areas(reference=reference, aspect=aspect).differences(shown)
    np.testing.assert_allclose(found, expected(reference, shown, sigma), atol=0.02)


def test_mean_and_percentile_of_every_second_pixel() -> None:
    rng = np.random.default_rng(2)
    ramp = np.linspace(0.1, 0.9, 160)[None, :, None] * np.linspace(0.3, 1, 120)[:, None, None] * [1.0, 0.8, 0.4]
    shown = (rng.random(ramp.shape) < ramp).astype(float)
    error = Areas(reference=ramp, step=step_for(160 * 120)).error(shown)
    everywhere = expected(ramp, shown, (2.0, 2.0))
    assert step_for(160 * 120) == 2
    assert error.mean == pytest.approx(everywhere.mean(), rel=0.02)
    assert error.p95 == pytest.approx(np.percentile(everywhere, 95), rel=0.05)


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (3, 2), (5, 40)])
@pytest.mark.parametrize("step", [1, 2, 3])
def test_pictures_smaller_than_the_blur(shape: tuple[int, int], step: int) -> None:
    light = np.random.default_rng(3).random((*shape, 3)).astype(np.float32)
    weights = np.exp(-0.5 * (np.arange(-8, 9) / 2) ** 2)
    weights = (weights / weights.sum()).astype(np.float32)
    first = step // 2 if min(shape) > step // 2 else 0
    whole = gaussian_filter(light.astype(float), (2, 2, 0), mode="reflect")[first::step, first::step]
    np.testing.assert_allclose(blurred(light, weights, weights, step), whole, atol=1e-5)
