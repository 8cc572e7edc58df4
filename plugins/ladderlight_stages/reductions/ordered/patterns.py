"""Threshold patterns: the order in which the pixels of an area light up as it gets lighter.

Each is a square array of ranks, int64 (size, size), 0 to size * size - 1, meant to be repeated across the picture.
"""

from functools import cache

import numpy as np

from ladderlight.units.arrays import Ints

Ranks = Ints

BLUE_NOISE_SIZE = 64
_SIGMA = 1.5
_STEPS = 2**40
_BEYOND = np.iinfo(np.int64).max


def bayer(size: int) -> Ranks:
    """Return Bayer's matrix for a size that is a power of two.

    B. E. Bayer, An optimum method for two-level rendition of continuous-tone pictures, IEEE International Conference on
    Communications (1973) 26-11 to 26-15: each half size is put into the four quarters of a 2x2 matrix.
    """
    ranks = np.zeros((1, 1), dtype=np.int64)
    while len(ranks) < size:
        ranks = np.block([[4 * ranks, 4 * ranks + 2], [4 * ranks + 3, 4 * ranks + 1]])
    return ranks


def clustered_dot(size: int) -> Ranks:
    """Return a pattern of round dots that grow, two to each square, in a grid at 45 degrees.

    The ranks follow a sum of two cosines, the usual spot function of halftone screens (common practice, no source).
    Equal values are ordered by the angle around the dot, so that it grows evenly.
    """
    place = (np.arange(size) + 0.5) / size * 2 * np.pi
    x, y = np.meshgrid(place, place)
    spot = np.cos(x + y) + np.cos(x - y)
    angle = np.arctan2(np.sin(y), np.sin(x))
    order = np.lexsort((angle.ravel(), np.round(-spot, 9).ravel()))
    ranks = np.empty(size * size, dtype=np.int64)
    ranks[order] = np.arange(size * size)
    return ranks.reshape(size, size)


@cache
def blue_noise() -> Ranks:
    """Return a pattern without regular structure and with little energy at low frequencies.

    R. A. Ulichney, The void-and-cluster method for dither array generation, Proc. SPIE 1913 (1993) 332-343, with his
    Gaussian of 1.5 pixels, on a torus. Always the same, with any version of NumPy: it starts from a fixed pattern,
    and the sums are of whole numbers, so that no rounding decides between nearly equal places.
    """
    size = BLUE_NOISE_SIZE
    distance = np.minimum(np.arange(size), size - np.arange(size)) ** 2
    blob = np.rint(np.exp(-(distance[:, None] + distance) / (2 * _SIGMA**2)) * _STEPS).astype(np.int64)
    chosen = np.random.default_rng(1993).permutation(size * size)[: size * size // 10]
    pattern = np.zeros((size, size), dtype=bool)
    pattern.flat[chosen] = True
    density = np.zeros_like(blob)
    for place in chosen.tolist():
        density += np.roll(blob, divmod(place, size), axis=(0, 1))

    def change(place: int, *, on: bool) -> None:
        y, x = divmod(place, size)
        pattern[y, x] = on
        density[:] += np.roll(blob, (y, x), axis=(0, 1)) * (1 if on else -1)

    def tightest() -> int:
        return int(np.where(pattern, density, -1).argmax())

    def emptiest() -> int:
        return int(np.where(pattern, _BEYOND, density).argmin())

    for _ in range(size * size):
        cluster = tightest()
        change(cluster, on=False)
        void = emptiest()
        change(void, on=True)
        if void == cluster:
            break
    ranks = np.empty(size * size, dtype=np.int64)
    start, start_density = pattern.copy(), density.copy()
    count = int(pattern.sum())
    for rank in range(count - 1, -1, -1):
        place = tightest()
        change(place, on=False)
        ranks[place] = rank
    pattern[:], density[:] = start, start_density
    # the tightest cluster of voids is where the density of ones is least: phases two and three are one
    for rank in range(count, size * size):
        place = emptiest()
        change(place, on=True)
        ranks[place] = rank
    return ranks.reshape(size, size)
