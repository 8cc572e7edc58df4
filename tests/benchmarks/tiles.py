"""Time the search for unique tiles, as ratios within one run.

    python tests/benchmarks/tiles.py

A quarter of a million tiles and a million, 8x8 pixels in 64 colours, matched in four orientations and, where a map of
16 bits could number them, numbered; against ``numpy.unique(axis=0)``, which matches one orientation, on the same tiles.
Three kinds: tiles drawn from few, tiles that all differ, and those of photographs of ``skimage.data`` reduced to 64
colours and cut at every pixel. The best of the repetitions counts, and the sizes take turns.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np
from skimage import data

from ladderlight_stages.tiling.numbering import stable_numbers
from ladderlight_stages.tiling.unique_tiles import unique_tiles

TURNS = np.array([0, 7, 56, 63])
SMALL, LARGE = 250_000, 1_000_000
MOST_NUMBERS = 1 << 16


def turned(tiles: np.ndarray, random: np.random.Generator) -> np.ndarray:
    """Turn each tile at random."""
    return tiles[np.arange(len(tiles))[:, None], np.arange(64) ^ TURNS[random.integers(0, 4, len(tiles))][:, None]]


def kinds(random: np.random.Generator) -> dict[str, np.ndarray]:
    """Make a million tiles of each kind, uint8 (tiles, 64)."""
    stock = random.integers(0, 64, (2000, 64)).astype(np.uint8)
    few = np.concatenate([turned(stock[random.integers(0, 2000, LARGE // 8)], random) for _ in range(8)])
    cut = []
    for picture in (data.astronaut(), data.coffee(), data.chelsea(), data.rocket()):
        codes = (picture // 64) @ np.array([16, 4, 1], dtype=np.uint8)
        cut.append(np.lib.stride_tricks.sliding_window_view(codes, (8, 8)).reshape(-1, 64))
    photographs = np.concatenate(cut)
    photographs = photographs[random.permutation(len(photographs))][:LARGE]
    photographs = np.concatenate([photographs, photographs])[:LARGE].astype(np.uint8)
    return {
        "2000 unique": few,
        "all unique": random.integers(0, 64, (LARGE, 64)).astype(np.uint8),
        "photographs": photographs,
    }


def ours(tiles: np.ndarray) -> int:
    """Find and number the tiles; gives how many are unique."""
    found = unique_tiles(tiles, TURNS)
    if found.count <= MOST_NUMBERS:
        assert found.tiles.shape[1] == tiles.shape[1]
        stable_numbers(found.hashes, found.uses, np.arange(MOST_NUMBERS))
    return found.count


def seconds(function: Callable[[np.ndarray], object], tiles: np.ndarray) -> float:
    """Time one call, in seconds of the processor: what else the machine does counts little."""
    start = time.process_time()
    function(tiles)
    return time.process_time() - start


def main() -> None:
    """Print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeat", type=int, default=5, help="repetitions of each measurement (default: %(default)s)")
    repeat = parser.parse_args().repeat
    random = np.random.default_rng(1)
    ours(random.integers(0, 64, (1000, 64)).astype(np.uint8))  # compiles
    for name, tiles in kinds(random).items():
        small, large = tiles[:SMALL], tiles
        times: dict[str, list[float]] = {"small": [], "large": [], "unique": []}
        for _ in range(repeat):
            times["small"].append(seconds(ours, small))
            times["large"].append(seconds(ours, large))
            times["unique"].append(seconds(lambda cells: np.unique(cells, axis=0), small))
        best = {key: min(values) for key, values in times.items()}
        print(
            f"{name}: {ours(large)} unique tiles; a million in {best['large'] / best['small']:.2f} x the time of a "
            f"quarter; numpy.unique takes {best['unique'] / best['small']:.1f} x ours on the quarter "
            f"({best['small']:.2f} s)"
        )


if __name__ == "__main__":
    main()
