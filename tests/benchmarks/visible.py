"""Measure the visible error of our reductions against Pillow's own, as ratios.

    python tests/benchmarks/visible.py
    python tests/benchmarks/visible.py --width 320 --height 240

Five photographs that scikit-image ships, reduced to a board's pixels in linear light. S-CIELAB with CIEDE2000 against
the picture before reduction, mean over the picture, then over the photographs, at several densities in pixels per
degree. "Pillow" is ``quantize`` with the board's colours and Floyd-Steinberg dithering on the sRGB-encoded picture.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from fractions import Fraction

import numpy as np
from PIL import Image, ImageOps
from skimage import data

from ladderlight import Board, CodedPicture, Origin, Picture
from ladderlight.board import MODES, PARTS, Channel, Ladder, Memory, Raster, linear_from_srgb, srgb_from_linear
from ladderlight.board.model.lines import expand
from ladderlight_stages.perception.density import density_of
from ladderlight_stages.perception.vision import Viewer
from ladderlight_stages.reductions.advise import advise
from ladderlight_stages.reductions.diffuse.kernels import KERNELS
from ladderlight_stages.reductions.diffuse.stage import diffuse
from ladderlight_stages.reductions.diffuse.variable import VARIABLE
from ladderlight_stages.reductions.few_colours.stage import few_colours
from ladderlight_stages.reductions.nearest import nearest, nearest_codes
from ladderlight_stages.reductions.ordered.stage import ordered
from ladderlight_stages.reductions.riemersma import riemersma
from ladderlight_stages.reductions.search.stage import search

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


def photographs(size: tuple[int, int]) -> list[Picture]:
    """Five photographs at a board's size, linear light."""
    decode = linear_from_srgb(np.arange(256) / 255).astype(np.float32)
    pictures = []
    for load in (data.astronaut, data.chelsea, data.coffee, data.rocket, lambda: data.stereo_motorcycle()[0]):
        fitted = ImageOps.fit(Image.fromarray(load()), (size[0] * 2, size[1] * 2))
        light = decode[np.asarray(fitted)].reshape(size[1], 2, size[0], 2, 3).mean(axis=(1, 3))
        pictures.append(Picture(origin=Origin(name="p", source="p.png"), pixels=light.astype(np.float32)))
    return pictures


def pillow(picture: Picture, board: Board, dither: Image.Dither) -> CodedPicture:
    """Pillow's quantize."""
    palette = Image.new("P", (1, 1))
    palette.putpalette(board.palette.srgb8.tobytes())
    encoded = np.rint(srgb_from_linear(picture.pixels) * 255).astype(np.uint8)
    return picture.coded(np.asarray(Image.fromarray(encoded).quantize(palette=palette, dither=dither), dtype=np.uint16))


def pillow_few(picture: Picture, board: Board, count: int) -> CodedPicture:
    """Pillow's own choice of colours, brought to the board's, and its diffusion onto those."""
    image = Image.fromarray(np.rint(srgb_from_linear(picture.pixels) * 255).astype(np.uint8))
    chosen = np.array(image.quantize(count, dither=Image.Dither.NONE).getpalette()).reshape(1, -1, 3)[:, :count]
    codes = np.unique(nearest_codes(linear_from_srgb(chosen / 255).astype(np.float32), board.palette))
    palette = Image.new("P", (1, 1))
    palette.putpalette(board.palette.srgb8[codes].tobytes())
    return picture.coded(codes[np.asarray(image.quantize(palette=palette, dither=Image.Dither.FLOYDSTEINBERG))])


def distance_for(board: Board, density: float) -> float:
    """The distance in metres at which a screen of WIDTH has so many pixels to a degree."""
    return density / density_of(board, screen_width=WIDTH, distance=1.0)[0]


def mean_errors(
    pictures: list[Picture], board: Board, density: float, methods: dict[str, Callable[[Picture], CodedPicture]]
) -> dict[str, np.ndarray]:
    """Give each method's mean visible error of each picture."""
    viewers = [Viewer(reference=picture.pixels, density=(density, density)) for picture in pictures]
    return {
        name: np.array(
            [v.error(board.palette.linear[method(p).codes]).mean for v, p in zip(viewers, pictures, strict=True)]
        )
        for name, method in methods.items()
    }


def main() -> None:
    """Print the ratios; below 1 ours is less visible."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--width", type=int, choices=(160, 320), default=160)
    parser.add_argument("--height", type=int, choices=(120, 240), default=120)
    chosen = parser.parse_args()
    size = (chosen.width, chosen.height)
    pictures, every = photographs(size), boards(size)
    steinberg, none = Image.Dither.FLOYDSTEINBERG, Image.Dither.NONE
    print(f"{size[0]}x{size[1]}, 64 colours, 40 pixels a degree, against Pillow's Floyd-Steinberg")
    board = every["64 colours"]
    far = distance_for(board, 40)
    methods: dict[str, Callable[[Picture], CodedPicture]] = {"pillow": lambda p: pillow(p, board, steinberg)}
    methods |= {name: lambda p, name=name: diffuse(p, board, kernel=name) for name in (*KERNELS, *VARIABLE)}
    methods |= {name: lambda p, name=name: ordered(p, board, pattern=name) for name in ("bayer", "blue_noise")}
    methods |= {
        "riemersma": lambda p: riemersma(p, board),
        "search": lambda p: search(p, board, screen_width=WIDTH, distance=far),
    }
    errors = mean_errors(pictures, board, 40, methods)
    for name, found in errors.items():
        print(f"  {name}: {found.mean():.2f}, {found.mean() / errors['pillow'].mean():.2f} x")
    for density in (10, 20):
        near = distance_for(board, density)
        errors = mean_errors(
            pictures,
            board,
            density,
            {
                "pillow": lambda p: pillow(p, board, steinberg),
                "nearest": lambda p: nearest(p, board),
                "advise": lambda p, near=near: advise(p, board, screen_width=WIDTH, distance=near),
                "advise, impatient": lambda p, near=near: advise(
                    p, board, screen_width=WIDTH, distance=near, patient=False
                ),
            },
        )
        better = np.minimum(errors["pillow"], errors["nearest"])
        for name in ("advise", "advise, impatient"):
            ratios = errors[name] / better
            print(
                f"{density} pixels a degree, {name} against the better of nearest and Pillow: "
                f"mean {ratios.mean():.2f} x, worst {ratios.max():.2f} x"
            )
    print("Other palettes, ours against Pillow at the same task")
    for title, board in every.items():
        for density in (20, 40):
            errors = mean_errors(
                pictures,
                board,
                density,
                {
                    "pillow": lambda p, board=board: pillow(p, board, steinberg),
                    "diffuse": lambda p, board=board: diffuse(p, board),
                    "pillow, none": lambda p, board=board: pillow(p, board, none),
                    "nearest": lambda p, board=board: nearest(p, board),
                },
            )
            dithered = errors["diffuse"] / errors["pillow"]
            plain = errors["nearest"] / errors["pillow, none"]
            print(
                f"  {title}, {density} pixels a degree: floyd_steinberg {dithered.mean():.2f} x "
                f"(worst {dithered.max():.2f}), nearest {plain.mean():.2f} x (worst {plain.max():.2f})"
            )
    board = board_of(
        size, {name: {f"{name}{bit}": ohms for bit, ohms in enumerate(FOUR)} for name in GUNS if name != "grey"}
    )
    for count in (8, 16, 64, 256):
        for density in (20, 40):
            errors = mean_errors(
                pictures,
                board,
                density,
                {
                    "pillow": lambda p, count=count: pillow_few(p, board, count),
                    "few_colours": lambda p, count=count: few_colours(p, board, count=count),
                },
            )
            ratio = errors["few_colours"] / errors["pillow"]
            print(
                f"{count} of 4096 colours, {density} pixels a degree, few_colours against Pillow's own choice: "
                f"{ratio.mean():.2f} x (worst {ratio.max():.2f})"
            )


if __name__ == "__main__":
    main()
