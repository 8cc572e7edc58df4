from pathlib import Path

import pytest

from ladderlight.bench.faults.cards import words_of_card
from ladderlight.bench.faults.listing import faults_of
from ladderlight.bench.faults.screens import looks_of
from ladderlight.bench.photograph.telling import telling_card
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
