"""Memory that a build takes for the words of the board's memory."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

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
