"""``ladderlight check --page``."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from ladderlight.commands import main

RECIPES = Path(__file__).parents[3] / "recipes"
REGISTERED = """format = 1
board.mode = "640x480@60"
board.clock = "25.175 MHz"
board.blanking = "gate"
board.counters = { x_start = 144, x_reset = 0, y_start = 35, y_reset = 0, blanking_delay = 4 }
board.ladder = { supply = "5 V", grey = { k0 = "150" } }
[[board.memory]]
name = "picture"
part = "27C010"
address = ["x2-x9", "y2-y9"]
data = ["k0"]
output = "register"
access = "120 ns"
"""


@pytest.mark.parametrize("recipe", ["lobby", "ticket-desk"])
def test_page_is_written_beside_the_report(tmp_path: Path, capsys: pytest.CaptureFixture[str], recipe: str) -> None:
    page = tmp_path / "deep" / "board.html"
    assert main(["check", str(RECIPES / recipe / "recipe.toml"), "--page", str(page)]) == 0
    assert str(page) in capsys.readouterr().out.splitlines()
    text = page.read_text(encoding="utf-8")
    assert text.startswith("<!DOCTYPE html>")
    assert text.count("<svg") >= 4


def test_page_and_document_together(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = tmp_path / "board.html"
    assert main(["check", str(RECIPES / "lobby" / "recipe.toml"), "--json", "--page", str(page)]) == 0
    document = json.loads(capsys.readouterr().out)
    for finding in document["findings"]:
        assert finding["where"] in page.read_text(encoding="utf-8")


def test_page_that_cannot_be_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("")
    assert main(["check", str(RECIPES / "lobby" / "recipe.toml"), "--page", str(tmp_path / "file" / "b.html")]) == 1
    assert "cannot be written" in capsys.readouterr().err


def test_counts_are_what_the_counters_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """144 and 35 are sync and back porch of 640x480@60: counters that are reset where sync begins."""
    recipe = tmp_path / "recipe.toml"
    recipe.write_text(REGISTERED, encoding="utf-8")
    assert main(["check", str(recipe)]) == 0
    lines = {line[:9]: line[9:].strip() for line in capsys.readouterr().out.splitlines()}
    assert lines["x counter"] == (
        "picture from 144 (shown from 148), blanking from 788, sync from 4, back porch from 100; after 799 comes 0"
    )
    assert lines["y counter"] == "picture from 35, blanking from 515, sync from 0, back porch from 2; after 524 comes 0"
    assert main(["check", str(recipe), "--json"]) == 0
    raster = json.loads(capsys.readouterr().out)["raster"]
    assert (raster["x"]["sync_start"], raster["x"]["sync_end"], raster["y"]["sync_start"]) == (4, 100, 0)


def test_colours_are_counted_as_seen(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Levels above the peak are one colour, in the summary as in the findings."""
    recipe = tmp_path / "recipe.toml"
    text = (RECIPES / "ticket-desk" / "recipe.toml").read_text(encoding="utf-8")
    head, ladder, _ = text.partition("supply =")
    recipe.write_text(
        head
        + ladder
        + '"5 V"\n'
        + "".join(f'{c} = {{ {c[0]} = "220", i = "1k3" }}\n' for c in ("red", "green", "blue")),
        encoding="utf-8",
    )
    assert main(["check", str(recipe), "--json"]) == 0
    seen = len({entry["srgb"] for entry in json.loads(capsys.readouterr().out)["palette"]})
    assert seen < 16
    assert main(["check", str(recipe)]) == 0
    out = capsys.readouterr().out
    assert f"16 codes, {seen} colours" in out
    assert f"16 codes show {seen} different colours" in out


def test_the_way_of_blanking_is_explained(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(RECIPES / "lobby")]) == 0
    line = "output-enable: the memories' outputs are disabled and the load pulls to 0 V"
    assert re.search(rf"^blanking +{re.escape(line)}$", capsys.readouterr().out, re.M)


def test_verbose_lists_stages_with_options_and_pictures(capsys: pytest.CaptureFixture[str]) -> None:
    lantern = RECIPES.parent / "tests" / "recipes" / "lantern"
    assert main(["check", str(lantern), "-v"]) == 0
    more = capsys.readouterr().out
    assert main(["check", str(lantern)]) == 0
    less = capsys.readouterr().out
    added = [line for line in more.splitlines() if line not in less.splitlines()]
    assert "stage    lantern  reach = 0.6" in added
    assert added[-2:] == ["picture  pictures/chart.png", "picture  pictures/lighthouse.png"]


def test_what_check_prints_is_in_the_readme(capsys: pytest.CaptureFixture[str]) -> None:
    """The first lines, up to the findings."""
    readme = (RECIPES.parent / "README.md").read_text(encoding="utf-8")
    assert main(["check", str(RECIPES / "lobby")]) == 0
    printed = capsys.readouterr().out.splitlines()[:8]
    assert "margin 38.89 ns, 26.89 ns after the register's set-up" in printed[5]  # 158.89 - 120, and 12 less
    assert "\n".join(printed) in readme


@pytest.mark.parametrize(
    ("output", "access", "printed", "plotted"),
    [
        ("register", "140 ns", ", margin 18.89 ns, 6.89 ns after the register's set-up", "6.9 of 158.9 ns left"),
        ("register", "150 ns", ", margin 8.89 ns, 3.11 ns too little for the register's set-up", "3.1 ns too late"),
        ("direct", "150 ns", ", margin 8.89 ns", "valid 8.9 ns"),
    ],
)
def test_the_margin_is_one_on_terminal_and_page(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], output: str, access: str, printed: str, plotted: str
) -> None:
    """12 ns of set-up, as of the 74HC574 (from memory). What the terminal calls left is what the page plots."""
    text = REGISTERED.replace('"register"', f'"{output}"').replace("120 ns", access)
    recipe, page = tmp_path / "recipe.toml", tmp_path / "board.html"
    recipe.write_text(text, encoding="utf-8")
    main(["check", str(recipe), "--page", str(page)])
    (line,) = [line for line in capsys.readouterr().out.splitlines() if line.startswith("memory picture")]
    assert line.endswith(f"each held 158.89 ns{printed}")
    assert plotted in page.read_text(encoding="utf-8")


def test_a_manifest_of_another_program_is_one_finding(sign: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["build", str(sign)]) == 0
    manifest = sign.parent / "out" / "manifest.json"
    manifest.write_text('{"format": "x", "name": "web"}')
    capsys.readouterr()
    assert main(["check", str(sign), "--json"]) == 1
    findings = json.loads(capsys.readouterr().out)["findings"]
    assert [finding["message"] for finding in findings if finding["where"] == str(manifest)] == [
        "is not the manifest of a build; move it away or choose another output folder"
    ]
