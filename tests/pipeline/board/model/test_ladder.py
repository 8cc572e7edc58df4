"""Ladders: groups of channels, shared lines, loads in parallel."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np
import pytest

from ladderlight.board import Channel, Ladder
from ladderlight.board.model.ladder import all_states

RED = {"r0": 1330.0, "r1": 715.0}


def volts_of(ladder: Ladder) -> np.ndarray:
    """Gun voltages for every state of the lines, bit i being ``ladder.lines[i]``."""
    states = all_states(len(ladder.lines))
    return ladder.gun_volts({line: states[:, i].astype(np.int64) for i, line in enumerate(ladder.lines)}, len(states))


def test_all_states_count_with_the_first_line_as_lowest_bit() -> None:
    assert all_states(2).tolist() == [[False, False], [True, False], [False, True], [True, True]]


def test_weighted_levels(ladder) -> None:
    volts = volts_of(ladder(red=RED))
    assert volts[:, 0] == pytest.approx([0, 10725 / 44173, 19950 / 44173, 30675 / 44173], rel=1e-14)
    assert not volts[:, 1:].any()


def test_lines_are_counted_once_in_order(ladder) -> None:
    shared = ladder(red={"i": 1000.0, "r": 500.0}, green={"i": 1000.0, "g": 500.0})
    assert shared.lines == ("i", "r", "g")


def test_channels_that_share_a_line_form_one_group(ladder) -> None:
    three = ladder(red={"i": 1000.0, "r": 500.0}, green={"g": 500.0}, blue={"i": 1000.0, "b": 500.0})
    assert [([c.name for c in channels], lines) for channels, lines in three.groups()] == [
        (["red", "blue"], ("i", "r", "b")),
        (["green"], ("g",)),
    ]


def test_a_chain_of_shared_lines_joins_all(ladder) -> None:
    chain = ladder(red={"a": 1e3, "b": 1e3}, green={"c": 1e3, "d": 1e3}, blue={"b": 1e3, "c": 1e3})
    (channels, lines), *more = chain.groups()
    assert {channel.name for channel in channels} == {"red", "green", "blue"}
    assert set(lines) == {"a", "b", "c", "d"}
    assert not more


def test_shared_line_with_ideal_drivers_leaves_channels_independent(ladder) -> None:
    shared = volts_of(ladder(red={"i": 1330.0, "r": 715.0}, green={"i": 1330.0, "g": 715.0}))
    alone = volts_of(ladder(red=RED))[:, 0]
    for state in range(8):
        i, r, g = state & 1, state >> 1 & 1, state >> 2 & 1
        assert shared[state, 0] == pytest.approx(alone[i + 2 * r], rel=1e-14)
        assert shared[state, 1] == pytest.approx(alone[i + 2 * g], rel=1e-14)


def test_shared_line_behind_a_resistance_couples_channels(ladder) -> None:
    shared = replace(ladder(red={"i": 1330.0, "r": 715.0}, green={"i": 1330.0, "g": 715.0}), driver_high=50.0)
    volts = volts_of(shared)
    both_through_i, with_green_high = volts[0b001, 0], volts[0b101, 0]
    assert with_green_high > both_through_i
    assert volts[0b001, 0] == pytest.approx(volts[0b001, 1], rel=1e-14)


def test_grey_drives_three_inputs_in_parallel(ladder) -> None:
    grey = volts_of(ladder(grey=RED))
    single = volts_of(replace(ladder(red=RED), load=25.0))[:, 0]
    for gun in range(3):
        assert grey[:, gun] == pytest.approx(single, rel=1e-14)


def test_r2r_steps_are_equal() -> None:
    rungs = {f"r{bit}": 940.0 for bit in range(5)}
    volts = volts_of(Ladder(supply=5.0, channels=(Channel(name="red", resistors=rungs, guns=(0,), r2r=470.0),)))[:, 0]
    assert np.diff(volts) == pytest.approx(np.full(31, 5 / 32 * 75 / (75 + 470)), rel=1e-12)


def test_significance_of_lines(ladder) -> None:
    weighted = ladder(red={"r1": 715.0, "r0": 1330.0}).channels[0]
    assert weighted.lines == ("r1", "r0")
    assert weighted.weighted_lines == ("r0", "r1")
    assert replace(weighted, r2r=330.0).weighted_lines == ("r1", "r0")


def test_open_connector_and_floating_lows_have_no_level(ladder) -> None:
    with pytest.raises(ValueError, match="nothing holds"):
        volts_of(replace(ladder(red=RED), load=inf, driver_low=inf))
