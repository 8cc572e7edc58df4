"""Time the reduction of one photograph against Pillow's own, as a ratio within one run.

    python tests/benchmarks/diffuse.py

The photograph is 640x480 pixels of ``skimage.data.stereo_motorcycle``. Both start from 8-bit sRGB pixels in memory and
end with one number per pixel. The stage itself is timed, which works in linear light, and the stage with the decoding
to linear light before it, which in a build belongs to reading. Repeats are interleaved, the medians compared, on one
core, warm.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from fractions import Fraction

import numpy as np
from PIL import Image
from skimage import data

from ladderlight import Board, Origin, Picture
from ladderlight.board import MODES, PARTS, Channel, Ladder, Memory, Raster
from ladderlight.board.model.lines import expand
from ladderlight_stages.reductions.diffuse.stage import diffuse
from ladderlight_stages.sources.read.samples import linear_pixels

REPEATS = 61


def board_of(channels: dict[str, dict[str, float]]) -> Board:
    """A board with these ladders; the wiring does not matter here."""
    lines = tuple(dict.fromkeys(line for table in channels.values() for line in table))
    memory = Memory(name="picture", part=PARTS["27C1024"], address=tuple(expand("x2-x9")), data=lines)
    guns = {"red": (0,), "green": (1,), "blue": (2,)}
    ladder = Ladder(
        supply=5.0,
        channels=tuple(Channel(name=name, resistors=table, guns=guns[name]) for name, table in channels.items()),
    )
    return Board(raster=Raster(mode=MODES["640x480@60"], clock=Fraction(25175000)), memories=(memory,), ladder=ladder)


def lattice_board() -> Board:
    """64 colours: 1330 and 715 ohm for each gun."""
    return board_of({gun: {f"{gun}0": 1330.0, f"{gun}1": 715.0} for gun in ("red", "green", "blue")})


def dependent_board() -> Board:
    """256 colours: two lines for each gun, and two that all guns share."""
    shared = {"bright0": 3900.0, "bright1": 2200.0}
    return board_of({gun: {f"{gun}0": 1800.0, f"{gun}1": 910.0} | shared for gun in ("red", "green", "blue")})


def theirs(photograph: Image.Image, board: Board) -> Callable[[], object]:
    """Pillow's quantize with the board's colours."""
    palette = Image.new("P", (1, 1))
    palette.putpalette(board.palette.srgb8.tobytes())
    return lambda: photograph.quantize(palette=palette, dither=Image.Dither.FLOYDSTEINBERG)


ORIGIN = Origin(name="photograph", source="photograph.png")


def ours(encoded: np.ndarray, board: Board, **options: str) -> Callable[[], object]:
    """The stage ``diffuse``."""
    picture = Picture(origin=ORIGIN, pixels=linear_pixels(encoded))
    options = {"kernel": "floyd_steinberg", **options}
    return lambda: diffuse(picture, board, **options)


def ours_decoding(encoded: np.ndarray, board: Board) -> Callable[[], object]:
    """Decoding as the reading stage does it, and the stage ``diffuse``."""
    return lambda: diffuse(Picture(origin=ORIGIN, pixels=linear_pixels(encoded)), board, kernel="floyd_steinberg")


def medians(calls: dict[str, Callable[[], object]]) -> dict[str, float]:
    """Median seconds of each, turn by turn."""
    times: dict[str, list[float]] = {name: [] for name in calls}
    for call in calls.values():
        call()
    for _ in range(REPEATS):
        for name, call in calls.items():
            start = time.perf_counter()
            call()
            times[name].append(time.perf_counter() - start)
    return {name: statistics.median(values) for name, values in times.items()}


def main() -> None:
    """Print the ratios; above 1 ours is faster."""
    photograph = Image.fromarray(data.stereo_motorcycle()[0][:480, :640])
    encoded = np.asarray(photograph)
    for title, board in (("64 colours, independent guns", lattice_board()), ("256 colours, any", dependent_board())):
        found = medians(
            {
                "pillow": theirs(photograph, board),
                "floyd_steinberg, serpentine": ours(encoded, board),
                "floyd_steinberg, serpentine, with decoding": ours_decoding(encoded, board),
                "floyd_steinberg, raster": ours(encoded, board, scan="raster"),
                "stucki, serpentine": ours(encoded, board, kernel="stucki"),
            }
        )
        for name, seconds in found.items():
            if name != "pillow":
                print(f"{title}: {name}: {found['pillow'] / seconds:.2f} x Pillow's speed")


if __name__ == "__main__":
    main()
