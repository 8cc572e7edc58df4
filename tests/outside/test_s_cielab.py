"""S-CIELAB against a case worked out independently from the published parameters."""

from __future__ import annotations

import warnings

import numpy as np

from ladderlight_stages.perception.vision import Viewer

# X. Zhang and B. A. Wandell, A spatial extension of CIELAB for digital color image reproduction, SID 1996, and the
# authors' reference code: XYZ to opponent, and (weight, full width at half maximum in degrees) of each channel.
OPPONENT = [[0.279, 0.72, -0.107], [-0.449, 0.29, -0.077], [0.086, -0.59, 0.501]]
GAUSSIANS = [
    [(1.00327, 0.05), (0.114416, 0.225), (-0.117686, 7.0)],
    [(0.616725, 0.0685), (0.383275, 0.826)],
    [(0.567885, 0.0920), (0.432115, 0.6451)],
]


def blurred(channel: np.ndarray, gaussians: list[tuple[float, float]], density: float) -> np.ndarray:
    """Convolve in space, pixel by pixel; Gaussians summed over 200 points of each pixel; mirrored at the edges."""
    height, width = channel.shape
    result = np.zeros_like(channel)
    for weight, degrees in gaussians:
        sigma = degrees * density / 2.354820045  # full width at half maximum of a Gaussian of 1
        reach = int(np.ceil(5 * sigma)) + 1
        places = np.arange(-reach, reach + 1)
        fine = places[:, None] + (np.arange(200) + 0.5) / 200 - 0.5
        profile = np.exp(-0.5 * (fine / sigma) ** 2).sum(axis=1)
        profile /= profile.sum()
        rows = mirrored(places + np.arange(height)[:, None], height)
        columns = mirrored(places + np.arange(width)[:, None], width)
        down = np.einsum("yk,ykx->yx", np.broadcast_to(profile, rows.shape), channel[rows])
        result += weight * np.einsum("xk,yxk->yx", np.broadcast_to(profile, columns.shape), down[:, columns])
    return result


def mirrored(index: np.ndarray, count: int) -> np.ndarray:
    index = index % (2 * count)
    return np.where(index < count, index, 2 * count - 1 - index)


def test_against_direct_convolution_and_colour_science() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        rng = np.random.default_rng(1)
        reference = rng.random((18, 26, 3))
        shown = np.clip(reference + rng.normal(0, 0.1, reference.shape), 0, 1)
        density = 12.0
        labs = []
        for linear in (reference, shown):
            # sRGB's matrix to four digits, as IEC 61966-2-1 prints it
            xyz = linear @ np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]).T
            opponent = xyz @ np.array(OPPONENT).T
            seen = np.stack([blurred(opponent[..., k], GAUSSIANS[k], density) for k in range(3)], axis=-1)
            white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
            labs.append(colour.XYZ_to_Lab(seen @ np.linalg.inv(OPPONENT).T, white))
        expected = colour.delta_E(*labs, method="CIE 2000")
    got = Viewer(reference=reference, density=(density, density)).differences(shown)
    assert expected.mean() > 3
    np.testing.assert_allclose(got, expected, atol=0.02)
