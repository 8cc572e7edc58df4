"""R-2R design against the network solver."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight.board import Channel, Ladder
from ladderlight.board.ladders.analysis import analyse
from ladderlight.board.ladders.goal import Goal
from ladderlight.board.ladders.r2r import best_r2r

VALUES = np.array([220.0, 330.0, 360.0, 390.0, 470.0, 680.0, 750.0, 820.0, 1000.0])


def ladder_of(goal: Goal, rail: float, rung: float) -> Ladder:
    return Ladder(
        supply=goal.supply,
        load=goal.load,
        driver_high=goal.driver,
        driver_low=goal.driver,
        channels=(Channel(name="red", resistors={f"d{bit}": rung for bit in range(goal.bits)}, guns=(0,), r2r=rail),),
    )


@pytest.mark.parametrize("bits", [1, 2, 3, 5])
@pytest.mark.parametrize("driver", [0.0, 50.0])
def test_best_of_all_rails_and_rungs(bits: int, driver: float) -> None:
    goal = Goal(bits=bits, driver=driver)
    expected = []
    for rail in VALUES:
        for rung in {*VALUES.tolist(), 2 * rail}:
            analysis = analyse(ladder_of(goal, rail, rung)).channels[0]
            if analysis.monotonic and analysis.max_error <= 0.7 / 4:
                expected.append((analysis.max_error, rail, rung))
    found = best_r2r(goal, VALUES, 5)
    assert found.error == pytest.approx([error for error, _, _ in sorted(expected)[:5]], rel=1e-9)
    assert (found.rail[0], found.rung[0]) in [
        (rail, rung) for error, rail, rung in expected if error <= found.error[0] + 1e-12
    ]


def test_two_rails_make_the_rung_that_the_series_lacks() -> None:
    found = best_r2r(Goal(bits=2), np.array([330.0]), 1)
    assert (found.rail[0], found.rung[0]) == (330.0, 660.0)
    assert found.error[0] == pytest.approx(0.7 - 0.75 * 5 * 75 / 405, rel=1e-12)


def test_current_limit_is_kept() -> None:
    free = best_r2r(Goal(bits=3), VALUES, 1)
    limit = 5.2e-3
    limited = best_r2r(Goal(bits=3, current_limit=limit), VALUES, 1)
    most = {
        found: max(d.source for d in analyse(ladder_of(Goal(bits=3), result.rail[0], result.rung[0])).drivers)
        for found, result in (("free", free), ("limited", limited))
    }
    assert most["free"] > limit >= most["limited"]


def test_out_of_order_ladders_are_refused() -> None:
    """Rungs of much more than two rails: the lower bits outweigh the upper ones together."""
    values = np.array([330.0, 910.0])
    free = best_r2r(Goal(bits=4, non_monotonic=True), values, 20)
    refused = best_r2r(Goal(bits=4), values, 20)
    assert (330.0, 910.0) in zip(free.rail, free.rung, strict=True)
    assert (330.0, 910.0) not in zip(refused.rail, refused.rung, strict=True)
    assert not analyse(ladder_of(Goal(bits=4), 330.0, 910.0)).channels[0].monotonic


def test_what_errs_by_more_than_a_quarter_is_not_offered() -> None:
    found = best_r2r(Goal(bits=2, non_monotonic=True), np.array([75.0, 330.0, 1000.0]), 20)
    assert found.error.max() <= 0.7 / 4
    assert found.rail.tolist() == [330.0] * len(found.rail)
