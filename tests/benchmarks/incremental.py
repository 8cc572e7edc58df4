"""Cost of builds after a change, as ratios within one run: python tests/benchmarks/incremental.py --count 1000.

JPEGs of 640x480 pixels in trays of 32, for a board of 160x120 pixels in 64 colours. Each build is a process of its own;
the full one begins with an empty cache. Wall and processor time of a full build are compared to those of one with a
picture changed, and with nothing changed; the last also to importing numpy and Pillow.

With ``--large 40``: JPEGs of 12 megapixels in place of these, a picture changed, and a resistor of the ladder.
With ``--large 40 --processes`` or ``--cluster``: the same pictures in two processes, or two local workers of a cluster,
and two threads, each warm.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np
from folder import make_pictures, recipe_of
from PIL import Image, ImageOps
from skimage import data

RECIPE = recipe_of(5) + 'per_tray = "banks"\n'
BUILD = ("-m", "ladderlight", "build", "-q", "recipe.toml")
IMPORT = ("-c", "import numpy, PIL.Image")


class Took(NamedTuple):
    """Seconds by the clock and of the processors."""

    wall: float
    processor: float


def run(*command: str, folder: Path) -> Took:
    """Run Python in a process of its own."""
    before, start = os.times(), time.perf_counter()
    environment = os.environ | {"LADDERLIGHT_CACHE_DIR": str(folder / "cache")}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)  # modules are compiled once, as where it is installed
    subprocess.run([sys.executable, *command], cwd=folder, env=environment, stdout=subprocess.DEVNULL, check=True)
    after, end = os.times(), time.perf_counter()
    used = after.children_user + after.children_system - before.children_user - before.children_system
    return Took(end - start, used)


def median(call: Callable[[int], Took], repeats: int) -> Took:
    """Return the medians of a few calls, which are given their numbers."""
    return Took(*map(statistics.median, zip(*map(call, range(repeats)), strict=True)))


def make_small(folder: Path, count: int, size: tuple[int, int] = (640, 480)) -> None:
    """Write pictures that all differ: parts of photographs, from different places."""
    places = np.random.default_rng(1)
    sources = [Image.fromarray(each) for each in (data.astronaut(), data.coffee(), data.rocket(), data.chelsea())]
    for number in range(count):
        source = sources[number % len(sources)]
        left, top = places.uniform(0, 0.4, 2) * source.size
        box = (int(left), int(top), int(left + 0.6 * source.width), int(top + 0.6 * source.height))
        ImageOps.fit(source.crop(box), size).save(folder / f"{number:05}.jpg", quality=88)


def anew(folder: Path) -> None:
    """Forget what was built."""
    for name in ("cache", "out"):
        shutil.rmtree(folder / name, ignore_errors=True)


def report(what: str, full: Took, other: Took) -> None:
    """Print a row of a table."""
    ratios = [f"{a / b:.3g} x" for a, b in zip(full, other, strict=True)]
    seconds = [f"{a:.3g} s" for a in (*full, *other)]
    print(f"| {what} | {ratios[0]} | {ratios[1]} | {' | '.join(seconds)} |", flush=True)


def full(folder: Path, repeats: int) -> Took:
    """Build anew, once in advance so that loops are compiled."""
    run(*BUILD, folder=folder)

    def build_anew(_: int) -> Took:
        anew(folder)
        return run(*BUILD, folder=folder)

    return median(build_anew, max(1, repeats // 2))


def one_changed(folder: Path, repeats: int) -> Took:
    """Build after one picture was replaced by another."""
    pictures = sorted((folder / "pictures").iterdir())

    def changed(number: int) -> Took:
        with Image.open(pictures[0]) as image:
            image.rotate(number + 1).save(pictures[len(pictures) // 2], quality=88)
        return run(*BUILD, folder=folder)

    return median(changed, repeats)


def small(folder: Path, count: int, repeats: int) -> None:
    """Compare builds with nothing and with one picture changed to a full one."""
    make_small(folder / "pictures", count)
    whole = full(folder, repeats)
    report("one picture changed", whole, one_changed(folder, repeats))
    report("nothing changed", whole, median(lambda _: run(*BUILD, folder=folder), repeats + 2))
    idle = median(lambda _: run(*BUILD, folder=folder), repeats + 2)
    report("nothing changed, against imports", idle, median(lambda _: run(*IMPORT, folder=folder), repeats + 2))


def large(folder: Path, repeats: int) -> None:
    """Compare builds with another picture, and with another resistor, to full ones."""

    def resistor(number: int) -> Took:
        recipe = RECIPE.replace('r0 = "1k33"', f'r0 = "1k{34 + number}"')
        (folder / "recipe.toml").write_text(recipe)
        return run(*BUILD, folder=folder)

    whole = full(folder, repeats)
    report("one picture changed", whole, one_changed(folder, repeats))
    report("a resistor changed", whole, median(resistor, repeats))


WARM = """
import sys, time
from pathlib import Path
from ladderlight.engine.executors import executor_of
from ladderlight.recipe import load
from ladderlight.workspace.build import build

if __name__ == "__main__":
    recipe = load(Path("recipe.toml"))
    what, repeats = sys.argv[1], int(sys.argv[2])
    other = executor_of(2, processes=True) if what == "processes" else executor_of(2, cluster="local")
    with other as processes, executor_of(2) as threads:
        ways = {"threads": threads, what: processes}
        times = {name: [] for name in ways}
        for _ in range(repeats + 1):
            for name, executor in ways.items():
                start = time.perf_counter()
                build(recipe, executor=executor, cached=False)
                times[name].append(time.perf_counter() - start)
    least = {name: min(each[1:]) for name, each in times.items()}
    print({name: [round(one, 2) for one in each] for name, each in times.items()})
    print(f"{what}, two: {least['threads'] / least[what]:.2f} x the speed of two threads")
"""


def warm(folder: Path, what: str, repeats: int) -> None:
    """Compare two processes, or two workers of a cluster, to two threads, from the second build on."""
    (folder / "warm.py").write_text(WARM)
    subprocess.run([sys.executable, "warm.py", what, str(repeats)], cwd=folder, check=True)


def main() -> None:
    """Print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=1000, help="how many small pictures")
    parser.add_argument("--large", type=int, help="how many large pictures in place of these")
    parser.add_argument("--processes", action="store_true", help="compare processes to threads")
    parser.add_argument("--cluster", action="store_true", help="compare a local cluster to threads")
    parser.add_argument("--repeats", type=int, default=3, help="how often each is timed; full builds half as often")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "pictures").mkdir()
        (folder / "recipe.toml").write_text(RECIPE)
        print("| | wall | processor | full, wall | full, processor | then, wall | then, processor |")
        if not chosen.large:
            small(folder, chosen.count, chosen.repeats)
            return
        make_pictures(folder / "pictures", chosen.large)
        if chosen.processes or chosen.cluster:
            warm(folder, "cluster" if chosen.cluster else "processes", chosen.repeats)
        else:
            large(folder, chosen.repeats)


if __name__ == "__main__":
    main()
