"""``ladderlight faults``: the page of all faults, and the list."""

from __future__ import annotations

import base64
import io
import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from ladderlight.commands import main

LANTERN = Path(__file__).parents[2] / "recipes" / "lantern"


@pytest.fixture
def run(capsys):
    def call(*arguments):
        status = main([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return status, captured.out, captured.err

    return call


@pytest.fixture
def recipe(tmp_path):
    shutil.copytree(LANTERN, tmp_path / "lantern", ignore=shutil.ignore_patterns("out", "__pycache__"))
    return tmp_path / "lantern" / "recipe.toml"


def test_the_page_shows_each_look_once_and_names_every_fault(run, recipe, tmp_path) -> None:
    assert run("build", recipe)[0] == 0
    page = tmp_path / "faults.html"
    status, out, _ = run("faults", recipe, "--page", page, "--json")
    assert status == 0
    document = json.loads(out)
    assert document["ok"] is True
    assert document["page"] == str(page)
    found = {entry["fault"]: entry for entry in document["faults"]}
    stuck = found["address line A3 (x6) stuck low"]
    assert stuck["chips"] == [{"chip": "picture", "pin": 7, "name": "A3", "line": "x6"}]
    assert stuck["group"] == "address lines"
    text = page.read_text()
    pictures = re.findall(r'src="data:image/png;base64,([^"]+)"', text)
    assert len(pictures) == 1 + max(entry["look"] for entry in document["faults"])
    assert all(f"{fault.replace('&', '&amp;')}" in text for fault in found)
    with Image.open(io.BytesIO(base64.b64decode(pictures[0]))) as shown, Image.open(_screen(recipe)) as screen:
        wide, high = screen.width // shown.width, screen.height // shown.height
        assert np.array_equal(np.asarray(shown.convert("RGB")), np.asarray(screen.convert("RGB"))[::high, ::wide])
    status, out, _ = run("faults", recipe)
    assert status == 0
    assert (recipe.parent / "faults.html").read_text() == text
    assert out.splitlines()[0] == f"{len(found)} faults with {len(pictures) - 1} different looks; " + (
        f"{sum(entry['look'] == 0 for entry in found.values())} cannot be seen"
    )


def _screen(recipe: Path) -> Path:
    (screen,) = recipe.parent.glob("*/proof/screens/bank0.png")
    return screen


def test_what_cannot_be_shown_is_one_clear_line(run, recipe, tmp_path) -> None:
    page = tmp_path / "faults.html"
    status, _, err = run("faults", recipe, "--page", page)
    assert status == 1
    assert "there is no build yet; run ladderlight build first" in err
    assert run("build", recipe)[0] == 0
    status, _, err = run("faults", recipe, "--page", page, "--bank", "9")
    assert status == 2
    assert re.search(r"the board has no bank 9; use 0 to \d", err)
    page.write_text("a page of my own")
    status, _, err = run("faults", recipe, "--page", page)
    assert status == 1
    assert "is not what faults --page wrote there before" in err
    assert page.read_text() == "a page of my own"


def test_a_card_is_shown_as_it_was_built_among_others(run, recipe, tmp_path) -> None:
    """The second card is in bank 1; a bank line that is stuck low shows the first one in its place."""
    page = tmp_path / "faults.html"
    assert run("build", recipe, "--cards")[0] == 0
    (screens,) = recipe.parent.glob("*-cards/proof/screens")
    status, out, _ = run("faults", recipe, "--card", "bars", "--page", page, "--json")
    assert status == 0
    document = json.loads(out)
    assert document["bank"] == 1
    text = page.read_text()
    assert "Card bars in bank 1 of the built cards with each single" in text
    stuck = next(entry["look"] for entry in document["faults"] if entry["fault"].endswith("(bank0) stuck low"))
    pictures = re.findall(r'src="data:image/png;base64,([^"]+)"', text)
    for picture, screen in (pictures[0], "bank1.png"), (pictures[stuck], "bank0.png"):
        with Image.open(io.BytesIO(base64.b64decode(picture))) as shown, Image.open(screens / screen) as built:
            wide, high = built.width // shown.width, built.height // shown.height
            assert np.array_equal(np.asarray(shown.convert("RGB")), np.asarray(built.convert("RGB"))[::high, ::wide])


LEFT, TOP = 260, 150


def photograph(screen: np.ndarray, path: Path) -> list[list[float]]:
    """Save a screen, straight on a dark wall, turned on its side with the Exif orientation; return its corners."""
    shown = Image.fromarray(screen).convert("RGB").resize((800, 600), Image.Resampling.BOX)
    wall = Image.new("RGB", (1320, 900), (6, 6, 8))
    wall.paste(shown.point(lambda value: round(0.8 * value)), (LEFT, TOP))
    exif = Image.Exif()
    exif[0x0112] = 6  # the top of the scene is on the right of the file
    wall.transpose(Image.Transpose.ROTATE_90).save(path, exif=exif, quality=92)
    right, bottom = LEFT + 800, TOP + 600
    return [[LEFT, TOP], [right, TOP], [right, bottom], [LEFT, bottom]]


def test_a_photograph_without_a_fault_and_its_corners(run, recipe, tmp_path) -> None:
    assert run("build", recipe)[0] == 0
    with Image.open(_screen(recipe)) as screen:
        corners = photograph(np.asarray(screen.convert("RGB")), tmp_path / "screen.jpg")
    page = tmp_path / "photo.html"
    given = ",".join(f"{value + 3}" for corner in corners for value in corner)
    status, out, _ = run(
        "faults", recipe, "--photo", tmp_path / "screen.jpg", "--corners", given, "--page", page, "--json"
    )
    document = json.loads(out)
    assert status == 0
    assert document["ok"] is True
    best = document["candidates"][0]
    assert (best["fault"], best["chips"]) == ("no fault", [])
    assert best["score"] > 0.9
    assert np.abs(np.array(document["corners"]) - corners).max() < 3  # from 3 pixels of error each way
    assert page.read_text().count("data:image/png;base64,") >= 3


def test_a_fault_on_a_card_is_named_with_its_pin(run, recipe, tmp_path) -> None:
    from ladderlight.bench.faults.listing import faults_of
    from ladderlight.bench.faults.screens import words_of_card
    from ladderlight.proof.scanout import render
    from ladderlight.recipe import load

    loaded = load(recipe, pictures="ignored")
    fault = next(fault for fault in faults_of(loaded.board) if fault.text == "address line A3 (x6) stuck low")
    faulty = fault.change(loaded.board, words_of_card(loaded, "addresses", 0))
    corners = photograph(render(*faulty, 0), tmp_path / "screen.png")
    options = ("--photo", tmp_path / "screen.png", "--card", "addresses", "--page", tmp_path / "photo.html")
    status, out, _ = run("faults", recipe, *options, "--json")
    assert status == 0
    document = json.loads(out)
    first = document["candidates"][0]
    level = [entry for entry in document["candidates"] if entry["score"] == first["score"]]
    chips = [{"chip": "picture", "pin": 7, "name": "A3", "line": "x6"}]
    assert (fault.text, chips) in [(entry["fault"], entry["chips"]) for entry in level]
    assert np.abs(np.array(document["corners"]) - corners).max() < 3
    status, out, _ = run("faults", recipe, *options)
    assert "address line A3 (x6) stuck low; check picture pin 7, A3 (x6)" in out


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--corners", "1,2,3,4,5,6,7,8"), "--corners is for a photograph; name it with --photo"),
        (("--photo", "shot.png", "--corners", "1,2,3"), "--corners '1,2,3' is not eight numbers"),
        (("--photo", "shot.png", "--corners", "0,0,0,9,9,9,9,0"), "--corners do not go clockwise round a screen"),
        (("--card", "adresses"), "no card is called 'adresses'; did you mean 'addresses'?"),
        (("--card", "addresses", "--photo", "missing.png"), "missing.png: cannot be read"),
        (("--photo", "missing.png"), "missing.png: cannot be read"),  # before the build is looked for
    ],
)
def test_wrong_options_are_refused_in_a_line(run, recipe, tmp_path, monkeypatch, options, message) -> None:
    monkeypatch.chdir(tmp_path)
    status, _, err = run("faults", recipe, *options)
    assert status in (1, 2)
    assert message in err
    assert not (recipe.parent / "faults.html").exists()


def test_a_dark_photograph_may_be_of_a_dark_screen(run, recipe, tmp_path) -> None:
    """Disabled outputs leave the screen dark. A bright wall is no such photograph."""
    page = tmp_path / "photo.html"
    for light in 4, 200:
        Image.new("RGB", (640, 480), (light,) * 3).save(tmp_path / f"{light}.png")
    options = ("faults", recipe, "--card", "addresses", "--page", page, "--photo")
    status, out, _ = run(*options, tmp_path / "4.png", "--json")
    assert status == 0
    document = json.loads(out)
    assert "output enable of picture inverted" in [entry["fault"] for entry in document["candidates"]]
    assert {entry["confidence"] for entry in document["candidates"]} == {0.5}
    assert document["corners"] is None
    text = " ".join(page.read_text().split())
    assert "no bright screen in dark surroundings; a dark screen has one of these faults." in text
    assert "If the screen is lit, darken the room, or give its --corners." in text
    status, _, err = run(*options, tmp_path / "200.png")
    assert status == 1
    assert "200.png: shows no bright screen in dark surroundings; darken the room, or give its --corners" in err


@pytest.mark.parametrize(
    ("corners", "message"),
    [
        ("nan,0,9,0,9,inf,0,9", "is not eight numbers"),
        ("9,0,0,0,0,9,9,9", "do not go clockwise"),
        ("-1e9,0,1e9,0,1e9,1e9,0,1e9", "are outside the photograph of 40 by 30 pixels"),
    ],
)
def test_corners_that_no_screen_has_are_refused(run, recipe, tmp_path, corners, message) -> None:
    Image.new("RGB", (40, 30)).save(tmp_path / "photo.png")
    page = tmp_path / "faults.html"
    card = ("--card", "border")
    status, _, err = run(
        "faults", recipe, *card, "--page", page, "--photo", tmp_path / "photo.png", "--corners", corners
    )
    assert status == 2
    assert message in err
    assert len(err.splitlines()) == 1
    assert not page.exists()
