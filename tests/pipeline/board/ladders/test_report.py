"""Ladders as plain values and as recipes."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from ladderlight.board.ladders.design import design
from ladderlight.board.ladders.report import design_document, findings_of, ladder_document, recipe_of
from ladderlight.board.ladders.search import Goal


def test_document_of_a_ladder_is_plain(ladder) -> None:
    subject = replace(ladder(red={"r0": 1330.0, "r1": 715.0}, green={"g0": 460.0}), tolerance=0.05)
    document = ladder_document(subject)
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    red, green = document["channels"]
    assert (red["name"], red["guns"], red["lines"]) == ("red", [0], ["r0", "r1"])
    assert [level["volts"] for level in red["levels"]] == pytest.approx(
        [0, 10725 / 44173, 19950 / 44173, 30675 / 44173]
    )
    assert red["max_error_mv"] == pytest.approx(15.0333, abs=1e-4)
    assert red["white_within"] is True
    assert red["spread"]["samples"] == 2000
    assert green["white_volts"] == pytest.approx(5 * 75 / 535)
    assert document["currents"]["drivers"][2] == {
        "line": "g0",
        "source_ma": pytest.approx(5e3 / 535),
        "sink_ma": pytest.approx(0, abs=1e-12),
    }
    assert document["power"][2]["mw"] == pytest.approx((5e3 / 535) ** 2 * 460 / 1e3)


def test_document_of_a_design() -> None:
    choices = design(Goal(bits=2, driver=30.0), "E24")
    document = design_document([[choice] * 3 for choice in choices], "E24")
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert document["resistors"] == [1300.0, 680.0]
    assert document["parts"] == ["1k3", "680"]
    assert document["kind"] == "weighted"
    assert len(document["next_best"]) == len(choices) - 1
    assert document["next_best"][0]["max_error_mv"] > document["max_error_mv"]


def test_recipe_of_a_weighted_ladder() -> None:
    assert recipe_of(design(Goal(bits=2, supply=3.3, driver=25.0), "E24", tolerance=0.01)[:1] * 3).splitlines() == [
        "[board.ladder]",
        'supply = "3.3 V"',
        'load = "75 ohm"',
        'peak = "0.7 V"',
        'driver = "25 ohm"',
        'tolerance = "1 %"',
        'red   = { r0 = "820", r1 = "390" }',
        'green = { g0 = "820", g1 = "390" }',
        'blue  = { b0 = "820", b1 = "390" }',
    ]


def test_recipe_of_an_r2r_ladder_says_what_goes_to_ground() -> None:
    lines = recipe_of(design(Goal(bits=2), "E24", r2r=True)[:1] * 3).splitlines()
    assert 'red   = { r2r = "330", lines = ["r0", "r1"] }' in lines
    assert "# 660 ohm: 330 + 330" in lines
    assert "# from the first rung to ground 660 ohm: 330 + 330" in lines


def test_findings_are_those_of_the_channels_that_are_built() -> None:
    choice = design(Goal(bits=2), "E24")[0]
    assert any(finding.where == "lines r1, g1 and b1" for finding in findings_of([choice] * 3))
    one = findings_of([choice])
    assert any(finding.where == "line r1" for finding in one)
    assert not [finding for finding in one if "nothing feeds" in finding.message]
