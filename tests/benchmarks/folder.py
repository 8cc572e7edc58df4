"""Time a whole build over a folder of large photographs, as ratios within one run.

    python tests/benchmarks/folder.py --count 40

Makes JPEGs of 12 megapixels in a temporary folder: photographs of ``skimage.data`` enlarged, with grain added so that
they weigh what a camera's do. Three things are then timed, in turn:

- ``ladderlight build --no-cache`` in a process of its own, proof and all, with a board of 160x120 pixels in 64
  colours;
- a plain loop on one thread with Pillow: open, orient, convert, fit, quantize with dithering;
- threads, one for each processor, that only decode the JPEGs at the scale that the board needs.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from PIL import Image, ImageOps
from skimage import data

SIZE = (4000, 3000)
BOARD = (160, 120)
LEVELS = (0, 78, 173, 252)


def recipe_of(bank_lines: int) -> str:
    """Return a recipe of pictures of 160x120 pixels in as many banks as these lines choose."""
    return f"""\
format = 1

[project]
name = "Folder"
output = "out"

[board]
mode = "640x480@60"
clock = "25.175 MHz"
blanking = "output-enable"

[[board.memory]]
name = "picture"
words = {1 << 15 + bank_lines}
width = 8
access = "120 ns"
address = ["x2-x9", "y2-y8", "bank0-bank{bank_lines - 1}"]
data = ["b0", "b1", "g0", "g1", "r0", "r1"]

[board.ladder]
supply = "5 V"
load = "75 ohm"
peak = "0.7 V"
red = {{ r0 = "1k33", r1 = "715R" }}
green = {{ g0 = "1k33", g1 = "715R" }}
blue = {{ b0 = "1k33", b1 = "715R" }}

[pictures]
files = ["pictures/*.jpg"]
"""


def make_pictures(folder: Path, count: int) -> list[Path]:
    """Write the photographs: four different ones, the others copies under names of their own."""
    grain = np.random.default_rng(1)
    made: list[bytes] = []
    for source in (data.astronaut(), data.coffee(), data.rocket(), data.stereo_motorcycle()[0]):
        large = np.asarray(ImageOps.fit(Image.fromarray(source), SIZE, Image.Resampling.BICUBIC), dtype=np.int16)
        noisy = large + grain.integers(-9, 10, large.shape, dtype=np.int16)
        path = folder / "sample.jpg"
        Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).save(path, quality=88)
        made.append(path.read_bytes())
        path.unlink()
    paths = [folder / f"{number:03}.jpg" for number in range(count)]
    for number, path in enumerate(paths):
        path.write_bytes(made[number % len(made)])
    return paths


def plain_loop(paths: list[Path]) -> None:
    """What one would write in ten lines."""
    palette = Image.new("P", (1, 1))
    palette.putpalette([value for r in LEVELS for g in LEVELS for b in LEVELS for value in (r, g, b)])
    for path in paths:
        with Image.open(path) as image:
            fitted = ImageOps.fit(ImageOps.exif_transpose(image).convert("RGB"), BOARD)
            fitted.quantize(palette=palette, dither=Image.Dither.FLOYDSTEINBERG).tobytes()


def decode_only(paths: list[Path]) -> None:
    """The least that anything must do: decode at reduced scale, on all processors."""

    def decode(path: Path) -> None:
        with Image.open(path) as image:
            image.draft("RGB", BOARD)
            image.load()

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        list(pool.map(decode, paths))


def build(recipe: Path) -> None:
    """Build in a process of its own, all pictures anew; Python keeps compiled modules, as in any installation."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    environment["PYTHONPYCACHEPREFIX"] = str(recipe.parent / "compiled")
    command = [sys.executable, "-m", "ladderlight", "build", "--no-cache", str(recipe)]
    subprocess.run(command, check=True, capture_output=True, env=environment)


def seconds(call: Callable[[], None]) -> float:
    """Time one call."""
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def main() -> None:
    """Print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=40, help="how many photographs")
    parser.add_argument("--repeats", type=int, default=3, help="how often each is timed")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "pictures").mkdir()
        paths = make_pictures(folder / "pictures", chosen.count)
        recipe = folder / "recipe.toml"
        recipe.write_text(recipe_of(9))
        weight = sum(path.stat().st_size for path in paths) / len(paths) / 1e6
        build(recipe)
        times: dict[str, list[float]] = {"build": [], "loop": [], "decode": []}
        for _ in range(chosen.repeats):
            times["build"].append(seconds(lambda: build(recipe)))
            times["loop"].append(seconds(lambda: plain_loop(paths)))
            times["decode"].append(seconds(lambda: decode_only(paths)))
    median = {what: statistics.median(values) for what, values in times.items()}
    print(f"{chosen.count} photographs of {SIZE[0]}x{SIZE[1]}, {weight:.1f} MB each, {os.cpu_count()} processors")
    print(f"build: {median['loop'] / median['build']:.2f} x the speed of a plain Pillow loop on one thread")
    print(f"build: {median['build'] / median['decode']:.2f} x the time of threads that only decode at reduced scale")


if __name__ == "__main__":
    main()
