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
    status, out, _ = run("faults", recipe, "--page", page)
    assert status == 0
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
