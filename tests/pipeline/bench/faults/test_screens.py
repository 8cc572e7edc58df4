"""Faults of memories that carry sync, blanking and resets: what is left of the picture."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ladderlight.bench.faults.listing import faults_of
from ladderlight.bench.faults.screens import looks_of, words_of_card
from ladderlight.recipe import load

RECIPE = Path(__file__).parents[4] / "recipes" / "signal-mast" / "recipe.toml"


@pytest.fixture(scope="module")
def looks():
    """The look under each fault of some, by its name; that without a fault is under no name."""
    recipe = load(RECIPE, pictures="ignored")
    wanted = (
        "data line D8 (hsync) stuck low",
        "data line D0 (!x_reset) stuck high",
        "address line A3 (y3) inverted",
        "address line A3 (x4) stuck low",
        "address line A9 (low) stuck low",
        "counter bit x7 missing, and read as high",
        "data line D9 (!blank) stuck low",
        "data line D9 (!blank) stuck high",
        "data line D0 (b0) stuck low",
        "blanking line inverted",
        "resistor r2 (red, 750) missing",
    )
    faults = [fault for fault in faults_of(recipe.board) if fault.text in wanted]
    assert len(faults) == len(wanted)
    found = looks_of(recipe.board, words_of_card(recipe, "bars", 0), 0, faults)
    return {"": found[0], **{fault.text: look for look in found for fault in look.faults}}


@pytest.mark.parametrize(
    "text",
    [
        "data line D8 (hsync) stuck low",
        "data line D0 (!x_reset) stuck high",
        "address line A3 (y3) inverted",
        "address line A3 (x4) stuck low",  # the picture's memory carries the line sync
        "counter bit x7 missing, and read as high",
    ],
)
def test_without_sync_or_resets_there_is_no_steady_picture(looks, text) -> None:
    assert not looks[text].steady
    assert looks[text] is looks["data line D8 (hsync) stuck low"]


@pytest.mark.parametrize("text", ["data line D0 (b0) stuck low", "resistor r2 (red, 750) missing"])
def test_other_faults_leave_a_steady_picture_that_differs(looks, text) -> None:
    assert looks[text].steady
    assert not np.array_equal(looks[text].light, looks[""].light)


def test_the_blanking_line_can_darken_the_picture_and_nothing_else_on_it(looks) -> None:
    """Gates force all guns to 0 V while the picture should be shown; a blanking line that is open never does."""
    assert looks["data line D9 (!blank) stuck low"].light.max() == 0
    assert looks["data line D9 (!blank) stuck high"] is looks[""]
    assert looks["blanking line inverted"] is looks["data line D9 (!blank) stuck low"]
    assert looks["address line A9 (low) stuck low"] is looks[""]
