"""Lines that fit the terminal, and what stays in one piece however narrow it is."""

from __future__ import annotations

import io
import shlex
import shutil
import sys
import textwrap
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ladderlight.board import Finding
from ladderlight.commands import main
from ladderlight.commands.terminal.folding import columns, folded, width_of
from ladderlight.commands.terminal.reporting import LineConsole, print_findings, print_lines
from ladderlight.errors import Fault

ROOT = Path(__file__).parents[4]
LOBBY = ROOT / "recipes" / "lobby"
TEXT = "outputs would drive up to 6.4 mA, above the 6 mA at which logic datasheets specify the output voltage"
SPACED = "/a folder of pictures/with another one in it/recipe.toml"


def test_a_label_is_followed_by_a_column() -> None:
    assert folded(f"raster          {TEXT}", 60) == [
        "raster          outputs would drive up to 6.4 mA, above the",
        "                6 mA at which logic datasheets specify the",
        "                output voltage",
    ]


def test_a_label_that_leaves_few_columns_has_no_column_beside_it() -> None:
    assert folded("raster          640 of 800 counts and 480 of 525 lines visible", 24) == [
        "raster          640 of",
        "  800 counts and 480 of",
        "  525 lines visible",
    ]


def test_lines_without_a_label_go_on_two_columns_further_in() -> None:
    assert folded(f"    {TEXT}", 60) == [
        "    outputs would drive up to 6.4 mA, above the 6 mA at",
        "      which logic datasheets specify the output voltage",
    ]


def test_what_fits_is_left_alone() -> None:
    assert folded("code   volts", 12) == ["code   volts"]
    assert folded(TEXT, None) == [TEXT]
    assert folded("", 20) == [""]


def test_a_figure_stays_with_its_unit() -> None:
    """The International System of Units (9th brochure, 5.4.3): value and unit are one expression."""
    for width in range(20, 60):
        lines = folded("margin 38.89 ns, brightest 0.707 V of 75 ohm, 25.175 MHz, within 5 % and 4 banks", width)
        assert not any(line.endswith(("38.89", "0.707", "75", "25.175", "within 5")) for line in lines)
        assert max(map(len, lines)) <= width


@pytest.mark.parametrize("width", [20, 40, 60, 80, 120])
def test_paths_with_spaces_stay_in_one_piece(width: int) -> None:
    quoted = f"there is no file '{SPACED}' beside the recipe; check the path and its permissions"
    assert sum(SPACED in line for line in folded(quoted, width)) == 1
    named = f"error   {SPACED}: cannot be written; choose another folder for what is built"
    lines = folded(named, width, [f"{SPACED}:"])
    assert sum(f"{SPACED}:" in line for line in lines) == 1
    assert all(len(line) <= width for line in lines if SPACED not in line)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.text(alphabet="abcdefg.;", min_size=1, max_size=19), min_size=1), st.integers(22, 100))
def test_plain_text_is_folded_as_by_the_standard_library(words: list[str], width: int) -> None:
    text = " ".join(words)
    wanted = textwrap.wrap(text, width, subsequent_indent="  ", break_long_words=False)
    assert folded(text, width) == wanted


def test_a_path_longer_than_the_terminal_stays_behind_its_word() -> None:
    path = "/".join(["folder"] * 10)
    assert folded(f"built {path}; to burn: nothing", 40) == [f"built {path};", "  to burn: nothing"]


def test_wide_letters_count_as_two_columns() -> None:
    """Unicode Standard Annex 11: letters of East Asian scripts are wide."""
    assert columns("港の塔") == 6
    assert folded("港の塔 港の塔 港の塔 港の塔", 20) == ["港の塔 港の塔 港の塔", "  港の塔"]


def test_the_width_is_that_of_columns_and_none_for_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    assert width_of(io.StringIO()) is None
    for given_, wanted in (("60", 60), ("132", 132), ("5", 20), ("0", None), ("wide", None)):
        monkeypatch.setenv("COLUMNS", given_)
        assert width_of(io.StringIO()) == wanted
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setenv("LINES", "24")
    assert width_of(io.StringIO()) is None


def test_findings_and_faults_are_indented(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    print_findings(LineConsole(sys.stdout), [Finding(level="caution", where="line b1", message=TEXT)])
    print_lines([Fault(where=SPACED, message="cannot be read; check its permissions")])
    out, err = capsys.readouterr()
    assert out.splitlines() == [
        "caution line b1: outputs would drive up",
        "        to 6.4 mA, above the 6 mA at",
        "        which logic datasheets specify",
        "        the output voltage",
    ]
    assert err.splitlines()[0] == f"{SPACED}:"
    assert err.splitlines()[1] == "  cannot be read; check its permissions"


COMMANDS = [
    "check RECIPE",
    "check RECIPE -v",
    "bench RECIPE",
    "ladder --bits 4 --next 5",
    "ladder --bits 3 --pairs --have '220, 4 x 680, 1k5=1.49k, 3k3, 330'",
    "ladder --bits 4 --r2r",
    "stages",
    "stages diffuse",
    "stages crop",
    "--help",
    "build --help",
    "compare --help",
    "check nowhere/recipe.toml",
    "stages nosuch",
]


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("command", COMMANDS)
def test_no_line_is_longer_than_the_terminal(
    command: str, width: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    main([word.replace("RECIPE", str(LOBBY)) for word in shlex.split(command)])
    out, err = capsys.readouterr()
    lines = [line.rstrip() for line in (out + err).splitlines()]
    assert len(lines) > 0
    assert [line for line in lines if columns(line) > width] == []


def test_a_narrow_terminal_loses_no_figure(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    words = {}
    for width in (60, 200):
        monkeypatch.setenv("COLUMNS", str(width))
        assert main(["ladder", "--bits", "3", "--next", "2"]) == 0
        words[width] = [word for word in capsys.readouterr().out.split() if set(word) != {"─"}]
    assert set(words[60]) == set(words[200])


def test_a_build_ends_with_what_was_built(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def last(*arguments: str) -> list[str]:
        assert main(["build", *arguments]) == 0
        return capsys.readouterr().out.splitlines()

    for name in ("lobby", "lighthouse", "quay-shelter"):
        shutil.copytree(ROOT / "recipes" / name, tmp_path / name, ignore=shutil.ignore_patterns("out"))
    assert last(str(tmp_path / "lobby"))[-1] == "4 pictures in 1 chip"
    assert last(str(tmp_path / "lobby"), "--cards")[-1].endswith("test cards in 1 chip")
    shelter = last(str(tmp_path / "quay-shelter"))
    assert [line for line in shelter if line.startswith("revision")] == [
        "revision a: 3 pictures in 2 chips of 2 trays",
        "revision b: 3 pictures in 2 chips of 2 trays",
    ]
    assert shelter[-1].startswith("revision b")
    light = last(str(tmp_path / "lighthouse"))[-1]
    assert light.startswith("1 picture with ")
    assert light.endswith(" frames in 1 chip")


@pytest.mark.parametrize("command", ["check RECIPE", "check RECIPE -v", "bench RECIPE", "ladder --bits 2", "stages"])
def test_quiet_prints_errors_alone(command: str, capfd: pytest.CaptureFixture[str]) -> None:
    assert main([*command.replace("RECIPE", str(LOBBY)).split(), "--quiet"]) == 0
    assert capfd.readouterr() == ("", "")


def test_quiet_findings_are_errors(capsys: pytest.CaptureFixture[str]) -> None:
    found = [Finding(level=level, where="board", message=level) for level in ("error", "caution", "note")]
    print_findings(LineConsole(sys.stdout), found, quiet=True)
    assert capsys.readouterr().out == "error   board: error\n"
