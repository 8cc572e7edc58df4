"""Every example recipe builds, and its proof shows its own pictures."""

from __future__ import annotations

import json
import re
import shutil
from base64 import b64decode
from collections.abc import Callable
from math import inf
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli
from PIL import Image

from ladderlight.board import Board
from ladderlight.commands import main
from ladderlight.engine.trays import folder_of
from ladderlight.proof.scanout import picture_codes, screen_codes
from ladderlight.recipe import Recipe, load, load_revisions
from ladderlight.units.arrays import MemoryWords
from ladderlight.workspace.build import build
from ladderlight.workspace.last_build import last_build
from ladderlight_stages.perception.measures import COLOUR_WORDS, GRAIN_WORDS

HERE = Path(__file__).parent
RECIPES = sorted([*HERE.parent.glob("recipes/*/recipe.toml"), *HERE.glob("recipes/*/recipe.toml")])
LOBBY = HERE.parent / "recipes" / "lobby" / "recipe.toml"


def copied(recipe: Path, folder: Path) -> Path:
    shutil.copytree(recipe.parent, folder, ignore=shutil.ignore_patterns("out", "__pycache__"))
    return folder / "recipe.toml"


def manifest_of(recipe: Recipe) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((recipe.output / "manifest.json").read_bytes())
    return found


def state(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("path", RECIPES, ids=lambda path: path.parent.name)
def test_recipe_builds_the_same_bytes_each_time(path: Path, example: Callable[[Path], Path], tmp_path: Path) -> None:
    """On one thread and on three, in two folders."""
    again = load_revisions(copied(path, tmp_path / "again"))
    outputs = [build(recipe, workers=3, cached=False).output for recipe in again]
    assert outputs == [tmp_path / "again" / "out" / (recipe.revision or "") for recipe in again]
    for recipe, output in zip(load_revisions(example(path) / "recipe.toml"), outputs, strict=True):
        first = state(recipe.output)
        assert first == state(output)
        manifest = json.loads(first["manifest.json"])
        assert len(manifest["pictures"]) >= 1
        sizes = {device.name: device.part.bytes for device in recipe.board.devices}
        assert {device["name"]: device["bytes"] for device in manifest["devices"]} == sizes


def first_banks(data: dict[str, Any], held: set[int]) -> list[int]:
    """The first bank of each screen of a proof page, on which exactly the banks with pictures have one."""
    firsts: dict[int, int] = {}
    for run in data["banks"]:
        assert all((bank in held) == (run["content"] is not None) for bank in range(run["first"], run["last"] + 1))
        if run["content"] is not None:
            firsts.setdefault(run["content"], run["first"])
    return list(firsts.values())


SCAN = """
async ([text, banks]) => {
  const data = JSON.parse(text);
  const words = {};
  const inText = (array) => {
    const bytes = new Uint8Array(array.buffer);
    let found = "";
    for (let at = 0; at < bytes.length; at += 4096) found += String.fromCharCode(...bytes.subarray(at, at + 4096));
    return btoa(found);
  };
  const stored = data.board.memories.map((memory) => [memory, makeWords(memory, data.memories[memory.name])]);
  for (const [memory, { all }] of stored) words[memory.name] = all;
  const screens = [];
  for (const bank of banks) {
    for (const [memory, { load, pageSize }] of stored) await load(pagesOf(data.board, memory, pageSize, bank));
    screens.push([scanBank, shown].map((scan) => inText(scan(data.board, words, bank))));
  }
  for (const [memory, { load, pageSize }] of stored) await load([...Array(memory.words / pageSize).keys()]);
  return [Object.fromEntries(Object.entries(words).map(([name, all]) => [name, inText(all)])), screens];
}
"""


def assert_scanned_alike(text: str, board: Board, words: MemoryWords, banks: list[int], scripts: Any) -> None:
    """The page's words are those of the device files, and its script shows the codes that the scan does."""
    unpacked, screens = scripts.evaluate(SCAN, [text, banks])
    assert set(unpacked) == set(words)
    for name, found in unpacked.items():
        assert np.array_equal(np.frombuffer(b64decode(found), dtype=words[name].dtype), words[name])
    for bank, found in zip(banks, screens, strict=True):
        for scan, codes in zip((picture_codes, screen_codes), found, strict=True):
            assert np.array_equal(np.frombuffer(b64decode(codes), dtype=np.uint16), scan(board, words, bank).ravel())


@pytest.mark.parametrize("path", RECIPES, ids=lambda path: path.parent.name)
def test_recipe_puts_a_whole_screen_per_bank_on_the_proof(
    path: Path, example: Callable[[Path], Path], page_scripts: Any
) -> None:
    for recipe in load_revisions(example(path) / "recipe.toml"):
        mode = recipe.board.raster.mode
        last = last_build(recipe.output, recipe.board)
        pictures = manifest_of(recipe)["pictures"]
        for number in last.numbers():
            proof = recipe.output / "proof" / folder_of(number)
            page = (proof / "index.html").read_text(encoding="utf-8")
            assert "shown at 0 places" not in page
            data = page.partition('id="proof-data">')[2].partition("</script>")[0]
            firsts = first_banks(json.loads(data), {p["bank"] for p in pictures if p.get("tray") == number})
            assert {screen.name for screen in (proof / "screens").iterdir()} == {f"bank{bank}.png" for bank in firsts}
            assert_scanned_alike(data, recipe.board, last.tray(number).words, firsts, page_scripts)
        for screen in (recipe.output / "proof").glob("**/screens/*.png"):
            image = Image.open(screen)
            assert image.size == (mode.horizontal.active, mode.vertical.active)
            shown = {tuple(colour) for colour in np.asarray(image.convert("RGB")).reshape(-1, 3)}
            assert len(shown) > 1
            if all(memory.access is not None and memory.output == "direct" for memory in recipe.board.memories):
                assert shown <= {tuple(colour) for colour in recipe.board.palette.srgb8}


def test_lobby_shows_the_cafe_in_bank_0_and_the_sky_where_the_recipe_wants_it(
    example: Callable[[Path], Path],
) -> None:
    recipe = load(example(LOBBY) / "recipe.toml")
    banks = {picture["name"]: picture["bank"] for picture in manifest_of(recipe)["pictures"]}
    assert banks == {"cafe": 0, "quay-cat": 1, "lighthouse": 2, "night-sky": 3}
    source = Image.open(recipe.folder / "pictures" / "cafe.jpg")
    width, height = source.size
    crop = source.crop(((width - height * 4 // 3) // 2, 0, (width + height * 4 // 3) // 2, height)).resize((16, 12), 5)
    screen = Image.open(recipe.output / "proof" / "screens" / "bank0.png").convert("RGB").resize((16, 12), 5)
    difference = np.abs(np.asarray(crop, dtype=float) - np.asarray(screen, dtype=float))
    assert difference.mean() < 16  # dithered, and averaged in sRGB here, but unmistakably the same picture


def test_the_recipe_in_the_readme_builds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    readme = (HERE.parent / "README.md").read_text(encoding="utf-8")
    recipe = tmp_path / "recipe.toml"
    recipe.write_text(readme.partition("```toml\n")[2].partition("```")[0], encoding="utf-8")
    shutil.copytree(HERE.parent / "recipes" / "lobby" / "pictures", tmp_path / "pictures")
    built = build(load(recipe))
    assert [name for device in built.manifest.devices for name in device["files"]] == ["picture.bin"]
    geometry = load(recipe).board.geometry
    assert (geometry.width, geometry.height) == (160, 120)
    assert f"{geometry.width} by {geometry.height}" in readme
    assert main(["check", str(recipe)]) == 0
    said = readme.partition("```text\n")[2].partition("```")[0]
    assert capsys.readouterr().out.startswith(said)


def test_the_readme_gives_the_voltages_of_blue_by_millmans_theorem() -> None:
    """Drivers of 30 ohm, a load of 75 ohm, 5 V: v = 5 V x sum(high) / (sum(all) + 1/75), in siemens."""
    readme = " ".join((HERE.parent / "README.md").read_text(encoding="utf-8").split())
    small, large = 1 / (1300 + 30), 1 / (680 + 30)
    volts = [5 * high / (small + large + 1 / 75) for high in (small, large, small + large)]
    assert volts == pytest.approx([0.2426, 0.4545, 0.6972], abs=1e-4)
    said = re.search(r"1k3 alone gives ([\d.]+) V, 680 ohm ([\d.]+) V, both ([\d.]+) V", readme)
    assert said is not None
    assert [f"{value:.3f}" for value in volts] == list(said.groups())


def test_readme_guide_starter_and_lobby_share_one_board() -> None:
    pages = [(HERE.parent / path).read_text(encoding="utf-8") for path in ("README.md", "recipes/README.md")]
    files = ("recipes/lobby/recipe.toml", "pipeline/ladderlight/starter/recipe.toml")
    recipes = [page.partition("```toml\n")[2].partition("```")[0] for page in pages]
    recipes += [(HERE.parent / path).read_text(encoding="utf-8") for path in files]
    first, *others = [tomli.loads(text)["board"] for text in recipes]
    assert first["memory"][0]["output"] == "register"
    assert others == [first] * 3


@pytest.mark.parametrize("path", RECIPES, ids=lambda path: path.parent.name)
def test_the_examples_play_in_merrowhithe(path: Path) -> None:
    assert tomli.loads(path.read_text(encoding="utf-8"))["project"]["name"].startswith("Merrowhithe ")


def test_the_lobby_says_how_much_is_seen_from_its_bench(example: Callable[[Path], Path], tmp_path: Path) -> None:
    """160 pixels are 280 mm, so each is 1.75 mm wide; a degree is 26.18 mm at 1.5 m."""
    for picture in manifest_of(load(example(LOBBY) / "recipe.toml"))["pictures"]:
        metrics = picture["metrics"]
        assert metrics["pixels_per_degree"] == pytest.approx(14.96, abs=0.01)
        assert 0 < metrics["grain"]["mean"] < metrics["grain"]["p95"]
        assert 0 < metrics["colour_error"]["mean"] < metrics["colour_error"]["p95"] < metrics["grain"]["p95"]
        assert {"clipped_share", "colours_used"} <= set(metrics)
    plain = copied(LOBBY, tmp_path / "lobby")
    text = plain.read_text(encoding="utf-8")
    head, _, rest = text.partition("[viewing]")
    plain.write_text(head + rest[rest.index("[[stage]]") :], encoding="utf-8")
    for picture in build(load(plain)).manifest.pictures:
        assert "grain" not in picture["metrics"]
        assert picture["metrics"]["colour_error"]["mean"] > 0


def test_the_guide_has_the_words_of_both_measures() -> None:
    """Each limit in the guide's table is the least mean that the next word is for."""
    guide = (HERE.parent / "recipes" / "README.md").read_text(encoding="utf-8")
    for name, words in (("colour_error", COLOUR_WORDS), ("grain", GRAIN_WORDS)):
        row = next(line for line in guide.splitlines() if line.startswith(f"| `{name}` |"))
        cells = [cell.strip() for cell in row.strip("|").split("|")][1:]
        limits = [f"below {limit:g}" if limit < inf else "more" for limit in words]
        assert cells == [f"{word}: {limit}" for word, limit in zip(words.values(), limits, strict=True)] + [""] * (
            len(cells) - len(words)
        )


def test_the_evening_uses_one_choice_of_colours_for_all_frames(example: Callable[[Path], Path]) -> None:
    folder = example(HERE.parent / "recipes" / "evening-window" / "recipe.toml")
    manifest = manifest_of(load(folder / "recipe.toml"))
    assert [picture["bank"] for picture in manifest["pictures"]] == list(range(8))
    used = [set(picture["codes_chosen"].split()) for picture in manifest["pictures"]]
    assert 32 < len(set().union(*used)) <= 64
    assert len(set(map(frozenset, used))) > 1
    assert not any("most similar" in note for note in manifest["notes"])
