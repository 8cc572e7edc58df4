"""Tables for the loop that reduces each gun separately: from a board's colours to bins of light."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ladderlight import Palette
from ladderlight.units.arrays import Codes, Floats, Singles
from ladderlight_stages.halftone.diffusion_loops import UNITS, LatticeTables
from ladderlight_stages.perception.luminance import LUMINANCE, tolerated

Gun = tuple[Floats, Codes]


@lru_cache(maxsize=8)
def is_grey(palette: Palette) -> bool:
    """Whether all of a board's colours are greys."""
    linear = palette.linear
    return bool((linear[:, :1] == linear).all())


def fitted(pixels: Singles, palette: Palette) -> Singles:
    """Return pixels for the loops: writable, in C order; on a grey board luminance in the place of red, and no more."""
    if is_grey(palette):
        luminance = np.zeros_like(pixels)
        np.matmul(pixels, LUMINANCE, out=luminance[..., 0])
        return luminance
    return np.require(pixels, np.float32, ["C", "A", "W"])


def guns_of(palette: Palette) -> list[Gun] | None:
    """Return each gun's levels, ascending, and their codes; on a grey board luminance and two idle guns.

    None for a board whose guns depend on each other.
    """
    if is_grey(palette):
        idle = (np.zeros(1), np.zeros(1, dtype=np.uint16))
        return [_sorted_levels(palette.linear[:, 0], np.arange(len(palette), dtype=np.uint16)), idle, idle]
    if palette.lattice is None:
        return None
    return [_sorted_levels(*gun) for gun in zip(palette.lattice.levels, palette.lattice.codes, strict=True)]


@lru_cache(maxsize=8)
def lattice_tables(palette: Palette, error: float = 0.5, fineness: int = 16) -> LatticeTables | None:
    """Make the tables; None for a board whose guns depend on each other.

    ``error`` is the largest possible error, as a share of a gun's largest step: half where the nearest level is always
    taken. ``fineness`` is the least number of bins in a gun's smallest step, as far as units allow.
    """
    guns = guns_of(palette)
    if guns is None:
        return None
    least = min((float(np.diff(light).min()) for light, _ in guns if len(light) > 1), default=1.0)
    shift = int(np.clip(np.floor(np.log2(least * UNITS / fineness)), 2, 12))
    width = 2.0**shift / UNITS
    spans = [(light[0], light[-1], np.diff(light).max(initial=0.0) * error + 3 * width) for light, _ in guns]
    bins = max(int(np.ceil((most - low + 2 * margin) / width)) + 2 for low, most, margin in spans)
    limits = np.array([(low, most, low - margin, *tolerated(low, most)) for low, most, margin in spans], np.float32)
    levels = np.empty((3, bins), dtype=np.int32)
    codes = np.empty((3, bins), dtype=np.uint16)
    for gun, (light, bits) in enumerate(guns):
        # in the loop's own single-precision steps, so that a pixel of exactly a level's light leaves no error
        counted = ((light.astype(np.float32) - limits[gun, 2]) * np.float32(UNITS) + np.float32(0.5)).astype(np.int32)
        centres = (np.arange(bins) + 0.5) * 2**shift
        chosen = np.searchsorted((counted[1:] + counted[:-1]) / 2, centres)
        chosen[(counted >> shift)[::-1]] = np.arange(len(counted))[::-1]
        levels[gun], codes[gun] = counted[chosen], bits[chosen]
    linear = palette.linear * (np.array([1.0, 0.0, 0.0]) if is_grey(palette) else 1.0)
    before = np.arange(3, dtype=np.int32) * (bins << shift)
    units = ((linear.astype(np.float32) - limits[:, 2]) * np.float32(UNITS) + 0.5).astype(np.int32) + before
    joined = (codes.astype(np.uint64) << np.uint64(32)) + (levels + before[:, None]).astype(np.uint64)
    return LatticeTables(limits, shift, levels, codes, joined.ravel(), units, largest_steps(units) // 2)


def largest_steps(light: NDArray[np.int32]) -> NDArray[np.int32]:
    """Return each gun's largest step from level to level, int32 (3,); ``light`` is of all codes, (codes, 3)."""
    return np.array([np.diff(np.sort(gun)).max(initial=0) for gun in light.T], dtype=np.int32)


def _sorted_levels(light: Floats, codes: Codes) -> Gun:
    """Return levels, ascending; of several codes with the same light the lowest."""
    order = np.lexsort((codes, light))
    light, codes = light[order], codes[order]
    first = np.ones(len(light), dtype=bool)
    first[1:] = np.diff(light) > 0
    return light[first], codes[first]
