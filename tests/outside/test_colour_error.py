"""Colour error against SciPy's Gaussian blur and the CIEDE2000 of colour-science."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import gaussian_filter
from skimage import data

from ladderlight.board import linear_from_srgb
from ladderlight_stages.perception.areas import Areas, step_for
from ladderlight_stages.perception.blur_loops import blurred
from ladderlight_stages.perception.comparison import summary


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


@pytest.mark.parametrize(("size", "step"), [((160, 120), 1), ((320, 240), 2), ((640, 480), 4)])
def test_some_pixels_stand_for_all(size: tuple[int, int], step: int) -> None:
    """A photograph in 8 colours; every pixel by the other libraries."""
    width, height = size
    photograph = Image.fromarray(data.chelsea()).resize(size, Image.Resampling.LANCZOS)
    light = linear_from_srgb(np.asarray(photograph) / 255).astype(np.float32)
    codes = ((light + np.random.default_rng(2).random(light.shape)) >= 1) @ np.array([1, 2, 4])
    guns = np.array([[code & 1, code >> 1 & 1, code >> 2 & 1] for code in range(8)], dtype=np.float32)
    assert step_for(width * height) == step
    areas = Areas(reference=light, step=step)
    error = summary(areas.differences_of(codes.astype(np.uint16), guns))
    everywhere = expected(light, guns[codes], (2.0, 2.0))
    assert error.mean == pytest.approx(everywhere.mean(), rel=0.01)
    assert error.p95 == pytest.approx(np.percentile(everywhere, 95), rel=0.02)
    np.testing.assert_allclose(areas.differences_of(codes.astype(np.uint16), guns), areas.differences(guns[codes]))


def test_the_percentile_is_numpys() -> None:
    values = np.random.default_rng(5).random((7, 9))
    assert summary(values).p95 == pytest.approx(np.percentile(values, 95))
    assert summary(values[:1, :1]).p95 == values[0, 0]


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (3, 2), (5, 40), (23, 31)])
@pytest.mark.parametrize("step", [1, 2, 3])
def test_blur_reflected_at_the_edges(shape: tuple[int, int], step: int) -> None:
    """Of pictures smaller than the blur, too. The first pixel of each row lies half a step further right."""
    light = np.random.default_rng(3).random((*shape, 3)).astype(np.float32)
    weights = np.exp(-0.5 * (np.arange(9) / 2) ** 2)
    weights = (weights / (2 * weights.sum() - 1)).astype(np.float32)
    whole = gaussian_filter(light.astype(float), (2, 2, 0), mode="reflect")
    found = blurred(light, weights, weights, step)
    step = min(step, *shape)
    assert found.shape == (shape[0] // step, shape[1] // step, 3)
    for row, colours in enumerate(found):
        first = (step // 2 + row * (step // 2)) % step
        taken = whole[step // 2 + row * step, first::step][: len(colours)]
        np.testing.assert_allclose(colours, taken, atol=1e-5)
