"""Time the search for unique tiles, as ratios within one run.

    python tests/benchmarks/tiles.py

A quarter of a million tiles and a million, 8x8 pixels in 64 colours, matched in four orientations and, where a map of
16 bits could number them, numbered; against ``numpy.unique(axis=0)``, which matches one orientation, on the same tiles.
Three kinds: tiles drawn from few, tiles that all differ, and those of photographs of ``skimage.data`` reduced to 64
colours and cut at every pixel. The best of the repetitions counts, and the sizes take turns.

With ``--thin`` the choice of 4096 among 20,786 unique tiles of photographs is timed instead, with what it loses.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np
from diffuse import lattice_board
from PIL import Image, ImageOps
from skimage import data

from ladderlight_stages.tiling.thinning import coarse_points, thin
from ladderlight_stages.tiling.unique_tiles import stable_numbers, unique_tiles

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


def photograph_tiles(levels: np.ndarray) -> np.ndarray:
    """Cut ten pictures of 640x480 pixels, each gun at the nearest of its levels, into codes, uint16 (tiles, 64)."""
    cut = []
    for picture in (data.astronaut(), data.coffee(), data.chelsea(), data.rocket(), data.stereo_motorcycle()[0]):
        whole = Image.fromarray(picture)
        middle = whole.crop((whole.width // 4, whole.height // 4, 3 * whole.width // 4, 3 * whole.height // 4))
        for part in (whole, middle):
            pixels = np.asarray(ImageOps.fit(part, (640, 480)), dtype=np.int16)
            codes = np.abs(pixels[..., None] - levels).argmin(axis=3) @ np.array([16, 4, 1])
            cut.append(codes.reshape(60, 8, 80, 8).swapaxes(1, 2).reshape(-1, 64))
    return np.concatenate(cut).astype(np.uint16)


def thinning() -> None:
    """Print how long it takes to thin tiles, and the mean loss of a pixel: squared distance in OKLab, half resolved."""
    board = lattice_board()
    levels = np.unique(board.palette.srgb8[:, 0]).astype(np.int16)
    guns = np.abs(board.palette.srgb8[..., None].astype(np.int16) - levels).argmin(axis=2)
    found = unique_tiles(photograph_tiles(levels), TURNS)
    code_of = np.argsort(guns @ np.array([16, 4, 1])).astype(np.uint16)
    some = np.sort(np.random.default_rng(0).permutation(found.count)[:20_786])
    codes, uses = code_of[found.tiles[some]], found.uses[some]

    def points(turn: int) -> np.ndarray:
        return coarse_points(codes[:, np.arange(64) ^ turn], board.palette, (1, 8, 8))

    thin(np.stack([points(turn)[:5000] for turn in TURNS]), uses[:5000], 4900, channels=3)  # compiles
    start = time.process_time()
    thinned = thin(np.stack(list(map(points, TURNS))), uses, 4096, channels=3)
    took = time.process_time() - start
    print(f"{len(uses)} tiles of {found.count} thinned to {len(thinned.kept)} in {took:.1f} s of the processor")
    print(f"mean loss {(uses * thinned.loss).sum() / uses.sum():.6f}")


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
    parser.add_argument("--thin", action="store_true", help="time the thinning of too many tiles")
    chosen = parser.parse_args()
    if chosen.thin:
        thinning()
        return
    repeat = chosen.repeat
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
