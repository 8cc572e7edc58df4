"""Error diffusion whose coefficients depend on the level of the picture: the published tables and their use.

The tables are for two levels, 0 and 255. They are used between any two neighbouring levels of a gun, also where the
guns depend on each other. One random number for each pixel moves the thresholds of all guns, in proportion to each
gun's step, so that grey stays grey. With very many levels of a gun this moves little.
"""

from functools import cache, lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from ladderlight import Frozen, Palette
from ladderlight.units.arrays import Codes, Floats, Singles
from ladderlight_stages.halftone.diffusion_loops import SHARE_BITS, UNITS, LatticeTables
from ladderlight_stages.halftone.lattice_tables import fitted, guns_of, largest_steps, lattice_tables
from ladderlight_stages.halftone.palette_loops import UNITS as PALETTE_UNITS
from ladderlight_stages.halftone.palette_tables import palette_tables
from ladderlight_stages.reductions.diffuse.variable_loops import diffuse_variable

_STEPS = 1024  # steps of light in the tables of shares and noise for palettes


class Coefficients(Frozen, eq=False):
    """By level 0 to 255: ``shares`` float64 (256, 3), ahead, down and behind, down; ``modulation`` float64 (256,)."""

    shares: Floats
    modulation: Floats


@cache
def coefficients(name: str) -> Coefficients:
    """Read a published table.

    ``"ostromoukhov"``: V. Ostromoukhov, A simple and efficient error-diffusion algorithm, SIGGRAPH 2001.
    ``"zhou_fang"``: B. Zhou and X. Fang, Improving mid-tone quality of variable-coefficient error diffusion using
    threshold modulation, SIGGRAPH 2003.
    """
    if name == "ostromoukhov":
        table, strength = _read("variable_coefficients_2001.csv"), np.zeros((1, 2))
    else:
        table, strength = _read("threshold_modulated_2003.csv"), _read("threshold_modulation_strength_2003.csv")
    weights = table[:, 1:] / table[:, 1:].sum(axis=1, keepdims=True)
    half = np.arange(128)
    rows = np.stack([np.interp(half, table[:, 0], weights[:, column]) for column in range(3)], axis=1)
    modulation = np.interp(half, strength[:, 0], strength[:, 1])
    # both mirror at the middle: level i above 127 is level 255 - i
    return Coefficients(
        shares=np.concatenate([rows, rows[::-1]]), modulation=np.concatenate([modulation, modulation[::-1]])
    )


def _read(name: str) -> Floats:
    text = (files("ladderlight_stages.reductions.diffuse") / "data" / name).read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return np.array([[float(entry) for entry in line.split(",")] for line in lines[1:]])


def diffuse_variably(
    pixels: Singles, palette: Palette, name: str, strength: float, error_limit: float, *, serpentine: bool
) -> Codes:
    """Reduce pixels, float32 (height, width, 3) of linear light, with one of the published tables."""
    shares, noise = _by_place(palette, name, strength)
    lattice = _lattice(palette)
    tables = None if lattice else palette_tables(palette, error_limit)
    spread = lattice.half_steps if lattice else largest_steps(palette_tables(palette, error_limit).colours[:, :3]) // 2
    codes: Codes = diffuse_variable(fitted(pixels, palette), lattice, tables, shares, noise, serpentine, spread)
    return codes


def _lattice(palette: Palette) -> LatticeTables | None:
    # a threshold moved up by half a step doubles the largest error; the published tables have 256 levels
    return lattice_tables(palette, 1.0, 512)


@lru_cache(maxsize=8)
def _by_place(palette: Palette, name: str, strength: float) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Return shares and noise for ``diffuse_variable``: by gun and bin of a lattice, else by gun and step of light."""
    lattice, guns = _lattice(palette), guns_of(palette)
    if lattice is None or guns is None:
        units, steps = PALETTE_UNITS, np.linspace(0, 1, _STEPS)
        places = [(np.unique(light), steps) for light in palette.linear.T]
    else:
        units, bins = UNITS, (np.arange(lattice.levels.shape[1]) + 0.5) * 2**lattice.shift / UNITS
        places = [(light, low + bins) for (light, _), low in zip(guns, lattice.limits[:, 2], strict=True)]
    found = [_between_levels(name, strength, *each) for each in places]
    noise = np.stack([np.rint(up * units).astype(np.int32) for _, up in found])
    return np.stack([shares for shares, _ in found]), noise


def _between_levels(name: str, strength: float, light: Floats, places: Floats) -> tuple[NDArray[np.int32], Floats]:
    """Read the tables for a gun with levels at ``light``, ascending, at places of light between two of them.

    Returns the shares, int32 (places, 3), and the light by which the threshold moves up at most, float64 (places,).
    """
    table = coefficients(name)
    below = np.clip(np.searchsorted(light, places, side="right") - 1, 0, max(len(light) - 2, 0))
    steps = np.append(np.diff(light), 0.0)[: max(len(light) - 1, 1)]
    share = np.clip((places - light[below]) / np.maximum(steps[below], 1e-9), 0.0, 1.0)
    level = np.rint(share * 255).astype(np.intp)
    return _whole(table.shares[level] * strength), table.modulation[level] * steps[below] * (128 / 255)


def _whole(shares: Floats) -> NDArray[np.int32]:
    """Return shares, (..., 3), in units of 2**-SHARE_BITS; the rest of rounding goes to the last."""
    whole = np.rint(shares * (1 << SHARE_BITS)).astype(np.int32)
    whole[..., 2] += np.rint(shares.sum(axis=-1) * (1 << SHARE_BITS)).astype(np.int32) - whole.sum(axis=-1)
    return whole
