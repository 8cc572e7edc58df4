from pathlib import Path

import numpy as np
import pytest

from ladderlight.bench.faults.listing import faults_of
from ladderlight.bench.faults.screens import looks_of, words_of_card
from ladderlight.bench.photograph.telling import telling_card, telling_reading
from ladderlight.recipe import load

LANTERN = Path(__file__).parents[3] / "recipes" / "lantern" / "recipe.toml"


@pytest.fixture(scope="module")
def lantern():
    recipe = load(LANTERN, pictures="ignored")
    return recipe, {fault.text: fault for fault in faults_of(recipe.board)}


def test_faults_that_one_card_hides_are_told_apart_by_another(lantern) -> None:
    """A checked field repeats every two pixels, so that the higher lines of x do not matter."""
    recipe, faults = lantern
    chosen = [faults[f"address line A1 (x4) {happened}"] for happened in ("inverted", "stuck high", "stuck low")]
    assert len(looks_of(recipe.board, words_of_card(recipe, "checkers", 0), 0, chosen)) == 1
    card = telling_card(recipe, 0, chosen, sound=True, shown="checkers")
    assert (card.looks, card.faults) == (4, 4)
    looks = looks_of(recipe.board, words_of_card(recipe, card.name, 0), 0, chosen)
    assert len(looks) == 4


def test_no_card_tells_a_fault_from_itself(lantern) -> None:
    recipe, faults = lantern
    same = faults["address line A3 (x6) stuck low"]
    assert telling_card(recipe, 0, [same, same], sound=False, shown=None) is None


def test_stuck_low_and_stuck_high_are_told_apart(lantern) -> None:
    recipe, faults = lantern
    both = [faults[f"address line A3 (x6) stuck {level}"] for level in ("low", "high")]
    card = telling_card(recipe, 0, both, sound=True, shown=None)
    assert (card.looks, card.faults) == (3, 3)


def test_a_meter_tells_a_missing_resistor_from_its_line_stuck_low(board) -> None:
    """The board's red: 1330 and 715 ohm into 75 ohm from 5 V, by Millman's theorem; no photograph tells these apart."""
    faults = {fault.text: fault for fault in faults_of(board)}
    low, missing, larger = "data line D5 (r1) stuck low", "resistor r1 (red, 715) missing", "resistor r1 (red, 715) ten"
    chosen = [faults[low], faults[missing], next(fault for text, fault in faults.items() if text.startswith(larger))]
    words = {"picture": np.zeros(1 << 17, dtype=np.uint32)}
    told = telling_reading(board, words, 0, chosen)
    assert told.reading.at == "J1 pin 1 (red)"
    assert {"r0", "r1"} <= set(told.reading.high)
    assert told.levels == 3
    rest, load = 1 / 1330, 1 / 75
    for fault, one in zip(chosen, (0.0, None, 1 / 7150), strict=True):
        fitted = {0.0: 1 / 715, None: 0.0}.get(one, one)
        expected = 5 * (rest + (one or 0.0)) / (rest + fitted + load)
        assert told.volts[fault.text].nominal == pytest.approx(expected, abs=1e-9)
    assert telling_reading(board, words, 0, chosen[:1]) is None
