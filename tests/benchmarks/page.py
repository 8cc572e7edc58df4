"""Time from opening the proof page's file to the first screen's paint: ``python tests/benchmarks/page.py``.

Pages of 64 photographs of 160x120 and of 320x240 pixels, and of an animation of 201 frames in 512 banks, are built
once, and each is opened several times in headless Chromium, a fresh context each, a page with nothing but a canvas in
turn with them. Least and median of milliseconds from the start of navigation to the second frame after the first
screen has been drawn, and the processor time of the renderer until then (Chromium's ``ProcessTime``). Argument: how
many times.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from ladderlight.recipe import load
from ladderlight.workspace.build import build

if TYPE_CHECKING:
    from playwright.sync_api import Browser

RECIPES = Path(__file__).parents[2] / "recipes"
EMPTY = """<!DOCTYPE html><title>empty</title><b id="caption-title"></b><canvas id="screen"></canvas>
<script>document.getElementById("screen").getContext("2d").fillRect(0, 0, 9, 9);
document.getElementById("caption-title").textContent = "drawn";</script>
"""
WATCH = """
globalThis.painted = new Promise((resolve) => addEventListener("DOMContentLoaded", () => {
  const title = document.getElementById("caption-title");
  const drawn = () => title.textContent
    && requestAnimationFrame(() => requestAnimationFrame(() => resolve(performance.now())));
  new MutationObserver(drawn).observe(title, { childList: true });
  drawn();
}));
"""
"""The caption is written when the screen has been drawn."""


def main() -> None:
    """Print a line for each page."""
    from playwright.sync_api import sync_playwright

    times = int(sys.argv[1]) if len(sys.argv) > 1 else 7
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name)
        (folder / "empty.html").write_text(EMPTY, encoding="utf-8")
        pages = {
            "a canvas alone": folder / "empty.html",
            "64 pictures of 160x120": _pictures(folder / "small", 1),
            "64 pictures of 320x240": _pictures(folder / "large", 2),
            "201 frames in 512 banks": _frames(folder / "frames"),
        }
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        found: dict[str, list[tuple[float, float]]] = {what: [] for what in pages}
        for _ in range(times):
            for what, path in pages.items():
                found[what].append(_opened(browser, path))
        browser.close()
        for what, path in pages.items():
            shown, busy = zip(*found[what], strict=True)
            print(
                f"{what:26}{path.stat().st_size:>11,} bytes; first screen {min(shown):5.0f} ms, median "
                f"{statistics.median(shown):5.0f}; processor {min(busy):5.0f} ms, median {statistics.median(busy):5.0f}"
            )


def _opened(browser: Browser, path: Path) -> tuple[float, float]:
    """Open a page; return milliseconds until its screen is there, and those of the renderer's processor time."""
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Performance.enable")
    page.add_init_script(WATCH)

    def busy() -> float:
        metrics = session.send("Performance.getMetrics")["metrics"]
        return 1000 * next(metric["value"] for metric in metrics if metric["name"] == "ProcessTime")

    before = busy()
    page.goto(path.as_uri(), wait_until="commit")
    found = float(page.evaluate("painted")), busy() - before
    context.close()
    return found


def _pictures(folder: Path, scale: int) -> Path:
    """Build the lobby's board with 64 banks, at one or two times its resolution, with parts of its photographs."""
    (folder / "pictures").mkdir(parents=True)
    rng = np.random.default_rng(4)
    files = [
        Image.open(RECIPES / "lobby" / "pictures" / name) for name in ("cafe.jpg", "quay-cat.jpg", "night-sky.jpg")
    ]
    for number in range(64):
        file = files[number % len(files)].convert("RGB")
        width = int(rng.uniform(0.45, 1) * min(file.width, file.height * 4 / 3))
        left, top = (int(rng.integers(0, room + 1)) for room in (file.width - width, file.height - width * 3 // 4))
        part = file.crop((left, top, left + width, top + width * 3 // 4))
        part.resize((640, 480)).save(folder / "pictures" / f"{number:02}.jpg", quality=90)
    text = (RECIPES / "lobby" / "recipe.toml").read_text(encoding="utf-8").partition("[[picture]]")[0]
    address = {1: '"x2-x9", "y2-y8", "bank0-bank5"', 2: '"x1-x9", "y1-y8", "bank0-bank5"'}[scale]
    text = text.replace('"x2-x9", "y2-y8", "bank0-bank1"', address).replace(', "pictures/*.png"', "")
    return _built(folder, text.replace('part = "27C010"', f"words = {(scale * scale * 64) << 15}\nwidth = 8"), "70 ns")


def _frames(folder: Path) -> Path:
    """Build the lighthouse's board with 512 banks for an animation: a ball rolls over a photograph."""
    (folder / "pictures").mkdir(parents=True)
    with Image.open(RECIPES / "lobby" / "pictures" / "cafe.jpg") as file:
        ground = np.asarray(file.convert("RGB").resize((160, 120)))
    rows, columns = np.indices(ground.shape[:2])
    frames = []
    for number in range(201):
        inside = (rows - 60 - 30 * np.sin(number / 9)) ** 2 + (columns - 0.8 * number) ** 2 < 30**2
        frames.append(Image.fromarray(np.where(inside[..., None], np.roll(ground[::-1], number, axis=1), ground)))
    path = folder / "pictures" / "light.gif"
    frames[0].save(path, save_all=True, append_images=frames[1:], duration=100, loop=0)
    text = (RECIPES / "lighthouse" / "recipe.toml").read_text(encoding="utf-8")
    text = text.replace("bank0-bank3", "bank0-bank8").replace('part = "39SF040"', f"words = {1 << 24}\nwidth = 8")
    return _built(folder, text.replace('step = "133.3 ms"', 'step = "40 ms"'), "70 ns")


def _built(folder: Path, recipe: str, access: str) -> Path:
    (folder / "recipe.toml").write_text(recipe.replace("120 ns", access), encoding="utf-8")
    return build(load(folder / "recipe.toml"), cached=False).proof


if __name__ == "__main__":
    main()
