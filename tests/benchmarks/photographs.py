"""How often the fault on a simulated photograph of the screen is named: ``python tests/benchmarks/photographs.py``.

The board is that of the recipe ``lobby``. The camera of ``camera.py`` photographs the ``addresses`` card, or a screen
with a photograph of scikit-image on it, under seeded single faults that can be seen, or under none. A fault is named
where the likeliest look is that of the fault, or differs from it in no more than the white balance of a camera.
Arguments: ``addresses``, ``natural`` or ``sound``; how many photographs; the first seed.
"""

from __future__ import annotations

import io
import os
import sys
import time
from pathlib import Path

import numpy as np
from camera import photographed
from PIL import Image
from skimage import data

from ladderlight.bench.faults.listing import faults_of
from ladderlight.bench.faults.screens import looks_of
from ladderlight.bench.photograph.ranking import ranked
from ladderlight.board import Placement
from ladderlight.proof.scanout import render
from ladderlight.recipe import load
from ladderlight_stages.cards.addresses import addresses

RECIPE = Path(__file__).parents[2] / "recipes" / "lobby" / "recipe.toml"
NATURAL = ("chelsea", "coffee", "rocket", "astronaut")


def natural(board, name: str) -> np.ndarray:
    """Codes of a photograph, each gun's levels chosen at random between the two nearest: no stage of ours."""
    rows, columns = addresses(board).codes.shape
    picture = np.asarray(Image.fromarray(getattr(data, name)()).convert("RGB").resize((columns, rows))) / 255
    noisy = picture + np.random.default_rng(7).uniform(-0.15, 0.15, picture.shape)
    palette = board.palette.srgb8.reshape(-1, 3) / 255
    away = np.stack([np.square(noisy - colour).sum(axis=2) for colour in palette])
    return away.argmin(axis=0)


def main(what: str = "addresses", count: int = 100, first: int = 0) -> None:
    board = load(RECIPE, pictures="ignored").board
    faults = faults_of(board)
    contents = {"card": addresses(board).codes} if what != "natural" else {n: natural(board, n) for n in NATURAL}
    words, looks, seen = {}, {}, {}
    for name, codes in contents.items():
        placement = Placement(board=board)
        placement.put_codes(codes, bank=0, picture=name)
        words[name] = {memory: held for memory, (held, _) in placement.words().items()}
        looks[name] = looks_of(board, words[name], 0, faults)
        seen[name] = [
            (place, fault) for place, look in enumerate(looks[name]) if place and look.steady for fault in look.faults
        ]
    named, alone, names, seconds, busy = 0, 0, 0, [], []
    for number in range(count):
        random = np.random.default_rng([first + number, 100])
        name = list(contents)[number % len(contents)]
        place, fault = seen[name][int(random.integers(len(seen[name])))] if what != "sound" else (0, None)
        faulty = fault.change(board, words[name]) if fault else (board, words[name])
        jpeg = photographed(render(*faulty, 0), random).jpeg
        pixels = np.asarray(Image.open(io.BytesIO(jpeg)), dtype=np.float32) / 255
        began, began_busy = time.perf_counter(), time.process_time()
        found = ranked(pixels, looks[name])
        seconds.append(time.perf_counter() - began)
        busy.append(time.process_time() - began_busy)
        best = found and found.candidates[0]
        right = bool(best) and (fault in best.faults if fault else best.sound)
        named += right
        alone += right and best.look is looks[name][place]
        names += len(best.faults) if right else 0
        text = fault.text if fault else "no fault"
        sure = f"{best.confidence:.2f} {best.score:.3f} {found.fits}" if best else "-"
        rival = "" if right else f" taken for {best.faults[0].text if best and best.faults else best and 'none'}"
        print(f"{number + 1} {named} {seconds[-1]:.1f} {busy[-1]:.1f} {sure} {name}: {text}{rival}", flush=True)
    print(f"{what}: {named} of {count}, {alone} of them by their own look, {names / max(named, 1):.1f} faults a name")
    print(f"longest {max(seconds):.1f} s, of processors {max(busy):.1f} s")
    print(f"load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main(*sys.argv[1:2], *map(int, sys.argv[2:]))
