"""Memory that a build takes for the words of the board's memory, and for each of many pictures."""

from __future__ import annotations

import gc
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from ladderlight.recipe import load
from ladderlight.workspace.build import build

from ...boards import FOUR_BANKS, chain

RECIPE = """
format = 1
[board]
mode = "640x480@60"
clock = "25.175 MHz"
blanking = "gate"
[[board.memory]]
name = "picture"
words = {words}
width = 8
access = "50 ns"
address = ["x2-x9", "y2-y8", "bank0-bank{bank}"]
data = ["r0-r2", "g0-g2", "b0-b1"]
[board.ladder]
supply = "5 V"
red   = {{ r0 = "3k3", r1 = "1k6", r2 = "750" }}
green = {{ g0 = "3k3", g1 = "1k6", g2 = "750" }}
blue  = {{ b0 = "1k3", b1 = "680" }}
[pictures]
cards = ["bars"]
[[stage]]
use = "nearest"
[[stage]]
use = "bank_pictures"
[[stage]]
use = "{emission}"
"""


BUILDS = """
import resource, sys
from ladderlight.commands import main

for recipe in sys.argv[1:]:
    assert main(["build", "--quiet", "--no-cache", recipe]) == 0
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the most resident memory is in kB only on Linux")
def test_at_most_eight_bytes_a_word(tmp_path: Path) -> None:
    """With an Intel HEX file, which takes most. By two sizes in one process: what does not grow does not count."""
    recipes = []
    for bits in (17, 21):
        recipe = tmp_path / str(bits) / "recipe.toml"
        recipe.parent.mkdir()
        recipe.write_text(RECIPE.format(words=1 << bits, bank=bits - 16, emission="intel_hex"))
        recipes.append(str(recipe))
    done = subprocess.run([sys.executable, "-c", BUILDS, *recipes], capture_output=True, text=True, check=True)
    small, large = (1024 * int(line) for line in done.stdout.split())
    assert large - small <= 8 * ((1 << 21) - (1 << 17))


def test_at_most_so_many_objects_a_picture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Blocks that Python has handed out when all pictures are coded, and when all trays are made; by two sizes."""
    found: dict[str, list[int]] = {"coded": [], "made": []}

    def note(what: str) -> None:
        gc.collect()
        found[what].append(sys.getallocatedblocks())

    monkeypatch.setattr("ladderlight.workspace.build._pages", lambda *_: note("made") or ())
    monkeypatch.setattr("ladderlight.workspace.manifest._FEW", 1)
    for count in (16, 48, 176):
        folder = tmp_path / str(count)
        (folder / "pictures").mkdir(parents=True)
        for number, pixels in enumerate(np.random.default_rng(1).integers(0, 256, (count, 15, 20), dtype=np.uint8)):
            Image.fromarray(pixels).save(folder / "pictures" / f"{number:04}.png")
        pictures = '[pictures]\nfiles = ["pictures/*"]\nper_tray = 64\n'
        board = FOUR_BANKS.replace("bank0-bank1", "bank0-bank5").replace("2716", "27128")
        stages = chain("resize", "nearest", "bank_pictures", "binary")
        (folder / "recipe.toml").write_text(f"format = 1\n{board}{pictures}{stages}")
        recipe = load(folder / "recipe.toml")
        build(recipe, workers=1, began=1, progress=lambda done, total, _: note("coded") if done == total else None)
    (_, *coded), (_, *made) = found.values()
    assert coded[1] - coded[0] < 40 * (176 - 48)
    assert made[1] - made[0] < 40 * (176 - 48)
