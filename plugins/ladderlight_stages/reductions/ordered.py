"""Reduction to codes by a pattern of thresholds."""

from functools import cache
from typing import Annotated, Literal

import numpy as np

from ladderlight import Board, CodedPicture, Example, Kept, Option, Palette, Picture, Viewing, stage
from ladderlight.units.arrays import Codes, Ints, Singles
from ladderlight_stages.halftone.exact import exactly_or
from ladderlight_stages.halftone.lattice_tables import Gun, guns_of, is_grey
from ladderlight_stages.halftone.palette_steps import mix
from ladderlight_stages.halftone.palette_tables import palette_tables, unique_colours
from ladderlight_stages.perception.luminance import LUMINANCE
from ladderlight_stages.perception.measures import MeasuringDistance, ScreenWidth, viewing_advice, with_measures

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


Pattern = Literal["bayer", "clustered_dot", "blue_noise"]

_PATTERNS = {"bayer": bayer, "clustered_dot": clustered_dot}
_MOST = 64  # most colours in the mixture of a pixel where the guns depend on each other; else one for each threshold
_LIMIT = 0.25


@stage(
    help="Reduce to the board's colours by a repeated pattern of thresholds, so that plain areas stay regular.",
    advice=viewing_advice,
    example=Example(
        shows="a regular mesh of dots in the board's 64 colours takes the place of even tones",
        options={"pattern": "bayer", "size": 4},
    ),
)
def ordered(
    picture: Picture,
    board: Board,
    viewing: Viewing = Viewing(),
    kept: Kept = Kept(),
    *,
    pattern: Annotated[Pattern, Option("pattern of thresholds")] = "blue_noise",
    size: Annotated[
        Literal[2, 4, 8, 16], Option("pixels of the pattern across and down; blue noise always has 64")
    ] = 8,
    guns: Annotated[
        Literal["together", "apart"],
        Option(
            "thresholds of the three guns: the same, so that grey stays grey, or different, so that dots are fainter "
            "but coloured; only for boards whose guns are independent"
        ),
    ] = "together",
    strength: Annotated[float, Option("spread of the thresholds; 0 is without dithering", minimum=0, maximum=1)] = 1.0,
    screen_width: ScreenWidth = None,
    distance: MeasuringDistance = None,
) -> CodedPicture:
    """Reduce a picture to codes.

    Where the guns are independent, each takes one of the two levels next to its light, by the pattern's threshold. With
    ``guns="together"`` all have the same thresholds, and a neutral picture stays neutral if they have the same levels.
    With ``"apart"`` green takes the thresholds inverted and blue takes them shifted, so that the guns do not light up
    together. Otherwise each pixel is mixed of several colours, and the threshold chooses one of them, the lightest
    first. A pixel depends on itself alone: where a picture does not change, its codes do not. A picture that is in the
    board's colours already is unchanged.
    """

    def reduce(pixels: Singles, palette: Palette) -> Codes:
        ranks = blue_noise() if pattern == "blue_noise" else _PATTERNS[pattern](size)
        return _ordered(pixels, palette, ranks, strength, apart=guns == "apart")

    coded = exactly_or(reduce, picture, board.palette, kept)
    return with_measures(coded, picture, board, viewing.changed(distance=distance, screen_width=screen_width))


def _ordered(pixels: Singles, palette: Palette, ranks: Ranks, strength: float, *, apart: bool) -> Codes:
    height, width = map(int, pixels.shape[:2])
    tile = 0.5 + strength * ((ranks + 0.5) / ranks.size - 0.5)
    repeats = (-(-height // len(ranks)), -(-width // len(ranks)))
    thresholds = np.tile(tile, repeats)[:height, :width].astype(np.float32)
    guns = guns_of(palette)
    if guns is None:
        linear, _ = unique_colours(palette)
        mixed: Codes = mix(
            np.require(pixels, np.float32, ["C", "A", "W"]),
            thresholds,
            palette_tables(palette, _LIMIT),
            np.argsort(np.argsort(linear @ LUMINANCE, kind="stable")).astype(np.int32),
            min(ranks.size, _MOST),
            strength,
        )
        return mixed
    if is_grey(palette):
        return _between(pixels @ LUMINANCE, guns[0], thresholds)
    planes = (thresholds, thresholds, thresholds)
    if apart:
        planes = (thresholds, 1 - thresholds, np.roll(thresholds, (height // 2, width // 2), axis=(0, 1)))
    red, green, blue = (_between(pixels[..., gun], guns[gun], planes[gun]) for gun in range(3))
    return red + green + blue


def _between(light: Singles, gun: Gun, thresholds: Singles) -> Codes:
    """Return, for each pixel, the code of the level below or above its light."""
    levels, codes = gun
    if len(levels) == 1:
        return np.full(light.shape, codes[0])
    below = np.clip(np.searchsorted(levels, light, side="right") - 1, 0, len(levels) - 2)
    share = (light - levels[below]) / (levels[below + 1] - levels[below])
    return codes[below + (share > thresholds)]
