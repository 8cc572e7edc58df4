"""``ladderlight ladder``: figures, tables, the recipe it writes, wrong usage."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from ladderlight.board import Ladder
from ladderlight.board.ladders.analysis import analyse
from ladderlight.board.model.ladder import all_states
from ladderlight.commands import main
from ladderlight.recipe import load

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run ``ladderlight ladder`` and give its status, stdout and stderr."""

    def call(*arguments: str) -> tuple[int, str, str]:
        status = main(["ladder", *arguments])
        captured = capsys.readouterr()
        return status, captured.out, captured.err

    return call


@pytest.fixture
def ladder_from(tmp_path: Path) -> Callable[[str], Ladder]:
    """Read a snippet as part of a whole recipe."""

    def read(snippet: str) -> Ladder:
        lines = sorted(set(re.findall(r"\b[rgb]\d\b", snippet)))
        head = [
            "format = 1",
            "[board]",
            'mode = "640x480@60"',
            'clock = "25.175 MHz"',
            "[[board.memory]]",
            'name = "picture"',
            'part = "27C1024"',
            'address = ["x3-x9", "y3-y8"]',
            f"data = {json.dumps(lines)}",
        ]
        recipe = tmp_path / "recipe.toml"
        recipe.write_text("\n".join([*head, snippet, "[pictures]", 'files = ["recipe.toml"]']))
        return load(recipe).board.ladder

    return read


def test_json_has_the_promised_keys(run: Run) -> None:
    status, out, err = run(
        "--bits", "3", "--supply", "5", "--load", "75", "--peak", "0.7", "--series", "E24", "--driver", "0", "--json"
    )
    assert (status, err) == (0, "")
    document = json.loads(out)
    assert document["resistors"] == [3300.0, 1600.0, 820.0]
    assert document["max_error_mv"] == pytest.approx(8.2505, abs=1e-4)
    assert document["monotonic"] is True
    assert len(document["levels_volts"]) == 8
    assert document["levels_volts"][7] == pytest.approx(0.693611, abs=1e-6)
    assert len(document["next_best"]) == 10
    assert document["next_best"][0]["resistors"] == [3000.0, 1600.0, 820.0]
    drivers = document["currents"]["drivers"]
    assert [driver["line"] for driver in drivers] == ["d0", "d1", "d2"]
    assert drivers[2]["source_ma"] == pytest.approx((5 - document["levels_volts"][4]) / 820 * 1e3)
    assert document["tolerance"] == 0.05


def test_units_are_read(run: Run) -> None:
    plain = json.loads(run("--bits", "2", "--supply", "3.3", "--driver", "50", "--json")[1])
    assert plain["supply_volts"] == 3.3
    written = ["--supply", "3300 mV", "--driver", "50 ohm", "--load", "0k075", "--peak", "700 mV", "--tolerance", "5%"]
    assert json.loads(run("--bits", "2", *written, "--json")[1]) == plain


def test_current_limit_is_in_milliamperes(run: Run) -> None:
    bare = json.loads(run("--bits", "2", "--current-limit", "5", "--json")[1])
    assert bare == json.loads(run("--bits", "2", "--current-limit", "5 mA", "--json")[1])
    assert max(driver["source_ma"] for driver in bare["currents"]["drivers"]) <= 5.0


@pytest.mark.parametrize(
    "options",
    [["--series", "E24"], ["--series", "E96", "--driver", "50"], ["--pairs"], ["--r2r"], ["--r2r", "--driver", "50"]],
)
def test_the_recipe_gives_the_levels(run: Run, ladder_from: Callable[[str], Ladder], options: list[str]) -> None:
    """What is pasted is read as what was printed."""
    document = json.loads(run("--bits", "3", *options, "--json")[1])
    ladder = ladder_from(document["recipe"])
    assert ladder.tolerance == document["tolerance"]
    assert [channel.name for channel in ladder.channels] == ["red", "green", "blue"]
    for channel in ladder.channels:
        group, lines = next(item for item in ladder.groups() if item[0] == (channel,))
        assert lines == tuple(f"{channel.name[0]}{bit}" for bit in range(3))
        volts = ladder.solve_group(group, lines).at(channel.name)
        assert len(volts) == len(all_states(3))
        assert volts.tolist() == pytest.approx(document["levels_volts"], rel=1e-5)


def test_pairs_are_pairs_in_the_recipe(run: Run) -> None:
    document = json.loads(run("--bits", "2", "--series", "E6", "--pairs", "--json")[1])
    first, second = document["parts"]
    assert "+" in first + second or "||" in first + second
    assert f'red   = {{ r0 = "{first}", r1 = "{second}" }}' in document["recipe"]


def test_report_reads_well(run: Run) -> None:
    status, out, _ = run("--bits", "2", "--driver", "30")
    assert status == 0
    lines = out.splitlines()
    rows = [" ".join(line.split()) for line in lines]
    assert lines[:2] == ["weighted ladder of 2 bits from E24", "5 V into 75 ohm, peak 0.7 V, drivers of 30 ohm"]
    assert "1 680 680 6.40 mA 0.34 mA 27.9 mW" in rows
    assert "1 0.2426 0.2333 +9.31 mV +0.044 +0.044 0.2308 to 0.2555 88" in rows
    assert "worst error 12.14 mV, 4.24 of 100 in lightness; white 0.6972 V; monotonic" in out
    assert 'red   = { r0 = "1k3", r1 = "680" }' in lines
    assert max(map(len, lines)) < 200


def test_report_of_an_r2r_ladder_lists_all_parts(run: Run) -> None:
    out = run("--bits", "3", "--r2r", "--tolerance", "0", "--next", "0")[1]
    assert "R-2R ladder of 3 bits" in out
    assert any(line.split()[:3] == ["rails", "390", "390"] for line in out.splitlines())
    assert any(line.split()[:5] == ["to", "ground", "390", "+", "390"] for line in out.splitlines())
    assert "next best" not in out
    assert "within" not in out.splitlines()[12]


def test_perceptual_is_another_ladder(run: Run) -> None:
    volts, lightness = (
        json.loads(run("--bits", "3", "--series", "E96", "--even", even, "--json")[1])
        for even in ("volts", "perceptual")
    )
    assert lightness["max_error_lightness"] < volts["max_error_lightness"]
    assert lightness["max_error_mv"] > volts["max_error_mv"]


@pytest.mark.parametrize(
    "options",
    [
        [],
        ["--bits", "0"],
        ["--bits", "9"],
        ["--bits", "2", "--supply", "5 A"],
        ["--bits", "2", "--load", "seventy"],
        ["--bits", "2", "--load", "0"],
        ["--bits", "2", "--supply", "-5"],
        ["--bits", "2", "--peak", "nan"],
        ["--bits", "2", "--driver", "-1"],
        ["--bits", "2", "--driver", "inf"],
        ["--bits", "2", "--current-limit", "0"],
        ["--bits", "2", "--tolerance", "150 %"],
        ["--bits", "2", "--tolerance", "1"],
        ["--bits", "2", "--series", "E25"],
        ["--bits", "2", "--pairs", "--r2r"],
        ["--bits", "2", "--even", "colours"],
    ],
)
def test_wrong_usage(run: Run, options: list[str]) -> None:
    status, out, err = run(*options)
    assert (status, out) == (2, "")
    assert err


def test_wrong_usage_names_the_option_and_what_to_do(run: Run) -> None:
    def said(*options: str) -> str:
        return " ".join(run("--bits", "2", *options)[2].replace("│", " ").split())

    assert "--driver: it is 'abc', which is not a resistance; write a resistance such as" in said("--driver", "abc")
    assert "--tolerance: '1' is 100 %; write a share below 100 %, such as 5%" in said("--tolerance", "1")


def test_nothing_of_the_tables_is_cut_off_in_a_pipe(run: Run) -> None:
    out = run("--bits", "6", "--pairs", "--next", "3")[1]
    assert "lightness" in out
    assert "…" not in out


def test_zero_has_no_sign(run: Run) -> None:
    out = run("--bits", "3", "--series", "E6", "--r2r", "--driver", "50")[1]
    assert "within 20 %" in out
    assert "-0.0000" not in out


def test_impossible_goals_are_one_line(run: Run) -> None:
    status, out, err = run("--bits", "2", "--supply", "0.5")
    assert (status, out) == (1, "")
    assert err.strip() == "0.7 V cannot be reached from 0.5 V; give a higher supply or a lower peak"


def test_findings_speak_of_all_three_channels(run: Run) -> None:
    found = json.loads(run("--bits", "2", "--json")[1])["findings"]
    assert any(finding["where"] == "lines r1, g1 and b1" for finding in found)
    assert not any("nothing feeds" in finding["message"] for finding in found)


def test_snippet_of_the_best_two_bit_ladder_has_its_white(run: Run, ladder_from: Callable[[str], Ladder]) -> None:
    recipe = json.loads(run("--bits", "2", "--json")[1])["recipe"]
    assert analyse(ladder_from(recipe)).channels[1].white == pytest.approx(545 / 789)


def test_a_drawer_for_two_channels(run: Run) -> None:
    document = json.loads(run("--bits", "2", "--have", "2 x 680, 1k5, 1k5=1.46k", "--channels", "2", "--json")[1])
    assert document["ok"] is True
    assert document["series"] is None
    assert document["have"] == "1k5=1k46, 2 x 680, 1k5" or document["have"] == "2 x 680, 1 x 1k5=1k46, 1k5"
    assert [channel["parts"] for channel in document["channels"]] == [["1k5=1k46", "680"], ["1k5", "680"]]
    assert document["max_error_mv"] == max(channel["max_error_mv"] for channel in document["channels"])
    assert 'red   = { r0 = "1k46", r1 = "680" }\ngreen = { g0 = "1k5", g1 = "680" }\n' in document["recipe"]
    assert "blue" not in document["recipe"]
    assert "# 1k5=1k46: marked and measured" in document["recipe"]
    assert document["tolerance"] == 0.05


def test_a_drawer_in_the_terminal(run: Run) -> None:
    status, out, _ = run("--bits", "2", "--have", "2 x 680, 1k5, 1k5=1.46k", "--channels", "2")
    assert status == 0
    assert "weighted ladder of 2 bits from the drawer" in out
    assert [line for line in out.splitlines() if line.startswith("channel")] == ["channel 1", "channel 2"]
    status, out, _ = run("--bits", "2", "--have", "680=674, 1k5=1498")
    assert status == 0
    assert "within" not in out  # all measured: no tolerance


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--have", "680, 1k5", "--series", "E24"], "--have: cannot be used with --series"),
        (["--have", "680, 1k5", "--r2r"], "--have: cannot be used with --r2r"),
        (["--channels", "2"], "--channels: needs --have"),
        (["--have", "680, 1kx"], "--have: it is '1kx', which is not a resistance (entry 2)"),
    ],
)
def test_options_of_a_drawer_that_do_not_fit(run: Run, arguments: list[str], message: str) -> None:
    status, _, err = run("--bits", "2", *arguments)
    assert status == 2
    assert err.startswith(message)
