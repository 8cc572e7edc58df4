"""Peak memory of builds, as ratios within one run: python tests/benchmarks/memory.py --few 100 --many 1000.

Frames of 640x480 pixels in one file, 30 and 1000, and pictures of 640x480 pixels in trays, few and many. Each build is
a process of its own with one thread for each processor and an empty cache; the peak is of resident memory.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from folder import recipe_of
from incremental import RECIPE, make_small
from PIL import Image
from skimage import data

STEPS = (30, 1000)
FRAMES = recipe_of(10).replace("pictures/*.jpg", "frames.gif") + "".join(
    f'[[stage]]\nuse = "{stage}"\n' for stage in ("resize", "diffuse", "bank_pictures", "binary")
)
"""A board of 1024 banks, so that all frames of the file have a place."""


def measure(folder: Path) -> tuple[float, float]:
    """Build anew; return the peak in MiB and the seconds of the processor."""
    shutil.rmtree(folder / "cache", ignore_errors=True)
    environment = os.environ | {"LADDERLIGHT_CACHE_DIR": str(folder / "cache")}
    command = [sys.executable, "-m", "ladderlight", "build", "-q", "--force", "recipe.toml"]
    process = subprocess.Popen(command, cwd=folder, env=environment, stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"the build failed with {process.returncode}")
    return used.ru_maxrss / 1024, used.ru_utime + used.ru_stime


def make_frames(path: Path, count: int) -> None:
    """Write an animation: a window that moves over a photograph, all frames different."""
    whole = Image.fromarray(data.astronaut()).resize((1100, 1100)).quantize(64)
    frames = [whole.crop((n % 400, n // 3 % 600, n % 400 + 640, n // 3 % 600 + 480)) for n in range(count)]
    frames[0].save(path, save_all=True, append_images=frames[1:], duration=40, loop=0)


def report(what: str, counts: tuple[int, int], found: list[tuple[float, float]]) -> None:
    """Print a row of a table."""
    (few, few_seconds), (many, many_seconds) = found
    seconds = f"{few_seconds:.3g} s | {many_seconds:.3g} s"
    print(f"| {what}, {counts[0]} and {counts[1]} | {many / few:.2f} x | {few:.0f} MiB | {many:.0f} MiB | {seconds} |")


def main() -> None:
    """Print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--few", type=int, default=100, help="pictures in trays")
    parser.add_argument("--many", type=int, default=1000, help="more pictures in trays")
    parser.add_argument("--only", choices=("frames", "trays"), help="one of the two")
    chosen = parser.parse_args()
    if chosen.only != "trays":
        found = []
        for count in STEPS:
            with tempfile.TemporaryDirectory() as name:
                folder = Path(name)
                (folder / "recipe.toml").write_text(FRAMES)
                make_frames(folder / "frames.gif", count)
                found.append(measure(folder))
        report("frames", STEPS, found)
    if chosen.only != "frames":
        found = []
        for count in (chosen.few, chosen.many):
            with tempfile.TemporaryDirectory() as name:
                folder = Path(name)
                (folder / "recipe.toml").write_text(RECIPE)
                (folder / "pictures").mkdir()
                make_small(folder / "pictures", count)
                found.append(measure(folder))
        report("pictures", (chosen.few, chosen.many), found)


if __name__ == "__main__":
    main()
