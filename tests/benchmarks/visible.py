"""Measure both errors of our reductions, as ratios to plain Floyd-Steinberg error diffusion.

    python tests/benchmarks/visible.py --quick
    python tests/benchmarks/visible.py --backgrounds /usr/share/backgrounds/mate/nature
    python tests/benchmarks/visible.py --backgrounds ... --width 320 --palette "4 greys"

Photographs reduced to a board's pixels in linear light, a picture of 300 mm seen from four distances. Six are shipped
by scikit-image: a cat, a rocket, a cup, an astronaut and a photographer in greys, by their docstrings CC0 or in the
public domain, and a motorcycle of a research benchmark, whose licence is not stated there and which is only measured.
Twelve are the folder ``nature`` of Debian's package mate-backgrounds (GPL-2+): install it, or
unpack it anywhere. ``colour error`` is the mean CIEDE2000 after a blur of two pixels, less that of Floyd-Steinberg:
mean and worst of all photographs. ``grain`` is the mean of S-CIELAB over that of Floyd-Steinberg: mean and worst.
Without ``--palette`` three are measured.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction
from itertools import islice
from pathlib import Path
from time import process_time

import numpy as np
from PIL import Image, ImageOps
from skimage import data

from ladderlight import Board, CodedPicture, Origin, Picture, Viewing
from ladderlight.board import MODES, PARTS, Channel, Ladder, Memory, Raster, linear_from_srgb, srgb_from_linear
from ladderlight.board.model.lines import expand
from ladderlight_stages.perception.areas import Areas
from ladderlight_stages.perception.reach import nearest_in_principle
from ladderlight_stages.perception.vision import Viewer, density_of
from ladderlight_stages.reductions.advise import advise
from ladderlight_stages.reductions.diffuse.kernels import KERNELS, VARIABLE
from ladderlight_stages.reductions.diffuse.stage import diffuse
from ladderlight_stages.reductions.few_colours import few_colours
from ladderlight_stages.reductions.nearest import nearest, nearest_codes
from ladderlight_stages.reductions.ordered import ordered
from ladderlight_stages.reductions.riemersma import riemersma
from ladderlight_stages.reductions.search import search

GUNS = {"red": (0,), "green": (1,), "blue": (2,), "grey": (0, 1, 2)}
WIDTH = 0.3
FOUR = (7500.0, 3600.0, 1800.0, 820.0)
LARGE_WHITE = 25 * (5 / 0.7 - 1)


def board_of(size: tuple[int, int], channels: dict[str, dict[str, float]]) -> Board:
    """A board with these ladders that scans 640x480 counts in pixels of 4 or 2."""
    low = {160: 2, 320: 1}[size[0]]
    lines = tuple(dict.fromkeys(line for table in channels.values() for line in table))
    return Board(
        raster=Raster(mode=MODES["640x480@60"], clock=Fraction(25175000)),
        memories=(
            Memory(
                name="picture",
                part=PARTS["27C1024"],
                address=(*expand(f"x{low}-x9"), *expand(f"y{low}-y8")),
                data=lines,
            ),
        ),
        ladder=Ladder(
            supply=5.0,
            channels=tuple(Channel(name=name, resistors=table, guns=GUNS[name]) for name, table in channels.items()),
        ),
    )


def boards(size: tuple[int, int]) -> dict[str, Board]:
    """Boards of many palettes."""
    two, three = (1330.0, 715.0), (3300.0, 1600.0, 820.0)

    def guns(*tables: tuple[float, ...]) -> dict[str, dict[str, float]]:
        names = ("red", "green", "blue")
        return {n: {f"{n}{bit}": ohms for bit, ohms in enumerate(t)} for n, t in zip(names, tables, strict=True)}

    return {
        "64 colours": board_of(size, guns(two, two, two)),
        "8 colours": board_of(size, guns((464.0,), (464.0,), (464.0,))),
        "256 colours": board_of(size, guns(three, three, two)),
        "16 colours, shared intensity": board_of(
            size, {name: {f"{name}0": 690.0, "bright": 1400.0} for name in ("red", "green", "blue")}
        ),
        "4 greys": board_of(size, {"grey": {"w0": 500.0, "w1": 227.0}}),
        "black and white": board_of(size, {"grey": {"w0": LARGE_WHITE}}),
    }


def photographs(size: tuple[int, int], folder: Path | None = None) -> Iterator[Picture]:
    """Yield photographs at a board's size, linear light."""
    decode = linear_from_srgb(np.arange(256) / 255).astype(np.float32)
    loads: dict[str, Callable[[], np.ndarray]] = {
        "cat": data.chelsea,
        "rocket": data.rocket,
        "cup": data.coffee,
        "astronaut": data.astronaut,
        "motorcycle": lambda: data.stereo_motorcycle()[0],
        "photographer": data.camera,
    }
    images = {name: Image.fromarray(load()) for name, load in loads.items()}
    images |= {file.stem: Image.open(file) for file in sorted(folder.glob("*.jpg"))} if folder else {}
    for name, image in images.items():
        fitted = ImageOps.fit(image.convert("RGB"), (size[0] * 2, size[1] * 2))
        light = decode[np.asarray(fitted)].reshape(size[1], 2, size[0], 2, 3).mean(axis=(1, 3))
        yield Picture(origin=Origin(name=name, source=f"{name}.png"), pixels=light.astype(np.float32))


def pillow(picture: Picture, board: Board, dither: Image.Dither) -> CodedPicture:
    """Pillow's quantize."""
    palette = Image.new("P", (1, 1))
    palette.putpalette(board.palette.srgb8.tobytes())
    encoded = np.rint(srgb_from_linear(picture.pixels) * 255).astype(np.uint8)
    return picture.coded(np.asarray(Image.fromarray(encoded).quantize(palette=palette, dither=dither), dtype=np.uint16))


def pillow_few(picture: Picture, board: Board, *, count: int) -> CodedPicture:
    """Pillow's own choice of colours, brought to the board's, and its diffusion onto those."""
    image = Image.fromarray(np.rint(srgb_from_linear(picture.pixels) * 255).astype(np.uint8))
    chosen = np.array(image.quantize(count, dither=Image.Dither.NONE).getpalette()).reshape(1, -1, 3)[:, :count]
    codes = np.unique(nearest_codes(linear_from_srgb(chosen / 255).astype(np.float32), board.palette))
    palette = Image.new("P", (1, 1))
    palette.putpalette(board.palette.srgb8[codes].tobytes())
    return picture.coded(codes[np.asarray(image.quantize(palette=palette, dither=Image.Dither.FLOYDSTEINBERG))])


Method = Callable[[Picture], CodedPicture]
DISTANCES = (0.6, 1.5, 2.4, 5.0)
PALETTES = ("64 colours", "256 colours", "4 greys")


def plain_methods(board: Board) -> Mapping[str, Method]:
    """Methods for which the distance does not matter, by name; the first is what others are compared with."""
    methods: dict[str, Method] = {"floyd_steinberg": lambda p: diffuse(p, board, kernel="floyd_steinberg")}
    methods["pillow"] = lambda p: pillow(p, board, Image.Dither.FLOYDSTEINBERG)
    methods |= {name: lambda p, name=name: diffuse(p, board, kernel=name) for name in (*KERNELS, *VARIABLE)}
    methods |= {name: lambda p, name=name: ordered(p, board, pattern=name) for name in ("bayer", "blue_noise")}
    return methods | {"riemersma": lambda p: riemersma(p, board), "nearest": lambda p: nearest(p, board)}


def seeing_methods(board: Board, distance: float, *, quick: bool) -> Mapping[str, Method]:
    """Methods for one distance in metres."""
    place = {"screen_width": WIDTH, "distance": distance}
    methods: dict[str, Method] = {
        "search": lambda p: search(p, board, **place),
        "advise, impatient": lambda p: advise(p, board, patient=False, **place),
    }
    return methods if quick else methods | {"advise": lambda p: advise(p, board, **place)}


def measured(board: Board, pictures: list[Picture], codes: list[np.ndarray], distance: float) -> np.ndarray:
    """Return colour error and grain of each picture, (pictures, 2)."""
    density = (density_of(board, Viewing(screen_width=WIDTH, distance=distance))[0],) * 2
    rows = []
    for picture, chosen in zip(pictures, codes, strict=True):
        wanted, shown = nearest_in_principle(picture.pixels, board.palette), board.palette.linear[chosen]
        viewer = Viewer(reference=wanted, density=density)
        rows.append((Areas(reference=wanted).error(shown).mean, viewer.error(shown).mean))
    return np.array(rows)


def compare(board: Board, pictures: list[Picture], *, quick: bool) -> None:
    """Print how every method compares with the first."""
    plain = {name: [method(p).codes for p in pictures] for name, method in plain_methods(board).items()}
    for distance in DISTANCES:
        first = measured(board, pictures, plain["floyd_steinberg"], distance)
        print(f"  {distance:g} m: colour error {first[:, 0].mean():.2f}, grain {first[:, 1].mean():.2f}")
        found = dict(plain)
        seconds = {}
        for name, method in seeing_methods(board, distance, quick=quick).items():
            start = process_time()
            found[name] = [method(p).codes for p in pictures]
            seconds[name] = (process_time() - start) / len(pictures)
        for name, codes in found.items():
            errors = measured(board, pictures, codes, distance)
            shift, ratio = errors[:, 0] - first[:, 0], errors[:, 1] / first[:, 1]
            took = f", {seconds[name]:.1f} s" if name in seconds else ""
            print(
                f"    {name}: colour error {shift.mean():+.2f} (worst {shift.max():+.2f}), "
                f"grain {ratio.mean():.2f} x (worst {ratio.max():.2f}){took}",
                flush=True,
            )


def compare_few_colours(size: tuple[int, int], pictures: list[Picture]) -> None:
    """Print how colours for a look-up memory compare with Pillow's own choice, at 2.4 m."""
    board = board_of(
        size, {name: {f"{name}{bit}": ohms for bit, ohms in enumerate(FOUR)} for name in GUNS if name != "grey"}
    )
    for count in (8, 16, 64, 256):
        ours, others = (
            measured(board, pictures, [method(p, board, count=count).codes for p in pictures], 2.4)
            for method in (few_colours, pillow_few)
        )
        ratio, shift = ours[:, 1] / others[:, 1], ours[:, 0] - others[:, 0]
        print(
            f"  {count} of 4096 colours against Pillow's: colour error {shift.mean():+.2f} (worst {shift.max():+.2f}), "
            f"grain {ratio.mean():.2f} x (worst {ratio.max():.2f})"
        )


def main() -> None:
    """Print the differences and ratios; below 1 grain is less than Floyd-Steinberg's."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--width", type=int, choices=(160, 320), default=160)
    parser.add_argument("--palette", action="append")
    parser.add_argument("--backgrounds", type=Path, help="folder of photographs, those of mate-backgrounds")
    parser.add_argument("--photographs", type=int, default=99, help="only so many")
    parser.add_argument(
        "--quick", action="store_true", help="three photographs, 64 colours; without advise and its search"
    )
    chosen = parser.parse_args()
    size = (chosen.width, chosen.width * 3 // 4)
    count = 3 if chosen.quick else chosen.photographs
    pictures = list(islice(photographs(size, chosen.backgrounds), count))
    palettes = chosen.palette or (PALETTES[:1] if chosen.quick else PALETTES)
    for palette in palettes:
        print(f"{palette}, {size[0]}x{size[1]}, {len(pictures)} photographs, against Floyd-Steinberg")
        compare(boards(size)[palette], pictures, quick=chosen.quick)
    if not chosen.quick:
        compare_few_colours(size, pictures)


if __name__ == "__main__":
    main()
