"""Two revisions compared: the example with both is read back and worked out by hand."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from ladderlight import commands

EXAMPLE = Path(__file__).parents[3] / "recipes" / "quay-shelter"


@pytest.fixture
def recipe(tmp_path: Path) -> Path:
    """The example, not yet built."""
    shutil.copytree(EXAMPLE, tmp_path / "quay", ignore=shutil.ignore_patterns("out"))
    return tmp_path / "quay" / "recipe.toml"


def compared(capsys: pytest.CaptureFixture[str], recipe: Path, *more: str) -> dict:
    capsys.readouterr()
    assert commands.main(["compare", str(recipe), "--revisions", "a", "b", "--json", *more]) == 0
    return json.loads(capsys.readouterr().out)


def rows(found: list[dict], *keys: str) -> dict:
    return {tuple(row[key] for key in keys): (row["a"], row["b"]) for row in found}


def test_boards_are_compared_without_builds(recipe: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = compared(capsys, recipe)
    parts = rows(found["parts"], "what", "value")
    assert parts["memory chip", "27128"] == (1, None)
    assert parts["memory chip", "27C512"] == (None, 1)
    assert parts["resistor", "620"] == (1, None)
    assert ("resistor", "430") not in parts  # red and blue are the same
    wiring = rows(found["wiring"], "device", "pin")
    # A0 is pin 10 of both packages (as pin-outs have it); the lowest column bit is x3 in one recipe, x2 in the other.
    assert wiring["picture", "A0"] == ("x3 at pin 10", "x2 at pin 10")
    assert wiring["picture", "A15"] == (None, "bank0 at pin 1")
    assert ("picture", "D0") not in wiring
    # Four bits of a register in one, five in the other: its fourth takes g2 instead of r0, its fifth is new.
    assert wiring["74HC574", "4D"] == ("r0 at pin 5", "g2 at pin 5")
    assert wiring["74HC574", "5D"] == ("low at pin 6", "r0 at pin 6")
    figures = rows(found["figures"], "name")
    assert figures[("picture",)] == ("80 x 60", "160 x 120")
    assert figures[("colours",)] == (16, 32)
    assert ("clock",) not in figures
    timing = rows(found["timing"], "memory", "figure")
    # Eight and four counts of 25.175 MHz.
    assert timing["picture", "hold_ns"] == (
        pytest.approx(8e3 / 25.175, abs=1e-3),
        pytest.approx(4e3 / 25.175, abs=1e-3),
    )
    assert timing["picture", "access_ns"] == (150.0, 120.0)
    colours = rows(found["colours"], "code")
    assert colours[(31,)][0] is None
    assert (0,) not in colours
    assert (found["chips"], found["pictures"]) == ([], [])
    assert [finding["where"] for finding in found["findings"]] == ["revision a", "revision b"]


def test_builds_are_compared_chip_by_chip_and_side_by_side(
    recipe: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert commands.main(["build", "--quiet", str(recipe)]) == 0
    page = tmp_path / "page.html"
    found = compared(capsys, recipe, "--page", str(page))
    text = "the chip of revision a is a 27128; a new 27C512 is needed"
    assert found["chips"] == [{"device": "picture", "tray": tray, "verdict": text} for tray in (1, 2)]
    assert rows(found["pictures"], "name") == {
        (name,): ({"tray": tray, "bank": bank},) * 2
        for name, tray, bank in (("1-chart", 1, 0), ("2-ferry", 1, 1), ("3-lighthouse", 2, 0))
    }
    html = page.read_text(encoding="utf-8")
    assert html.count('<img src="data:image/png;base64,') == 6
    assert "http" not in html.split("<main>")[1]


def test_chips_of_the_same_part_say_what_to_burn(recipe: Path, capsys: pytest.CaptureFixture[str]) -> None:
    boards = recipe.parent / "boards"
    board = (boards / "a.toml").read_text(encoding="utf-8")
    (boards / "b.toml").write_text(board.replace('"g0-g1", "r0"', '"g0-g1", "-", "r0"'), encoding="utf-8")
    text = recipe.read_text(encoding="utf-8").replace('use = "diffuse"', 'use = "ordered"')
    recipe.write_text(text, encoding="utf-8")
    commands.main(["build", "--quiet", str(recipe)])
    found = compared(capsys, recipe)
    assert found["parts"] == found["colours"] == found["timing"] == []
    for chip in found["chips"]:
        assert chip["verdict"].startswith("differs from revision a in")
        assert chip["verdict"].endswith("; erase it, then burn it")
    (boards / "b.toml").write_text(board, encoding="utf-8")
    commands.main(["build", "--quiet", str(recipe)])
    assert {chip["verdict"] for chip in compared(capsys, recipe)["chips"]} == {"the same; no need to burn it"}


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--revisions", "a", "c"], "the recipe has no revision 'c'; use one of a, b"),
        (["dump.bin", "--revisions", "a", "b"], "--revisions compares boards and builds, without dumps; "),
        (["dump.bin", "--page", "x.html", "--revision", "a"], "--page is for --revisions; "),
    ],
)
def test_wrong_usage(recipe: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], message: str) -> None:
    assert commands.main(["compare", str(recipe), *arguments]) == 2
    assert capsys.readouterr().err.startswith(message)
