from __future__ import annotations

from dataclasses import replace

from ladderlight.board import Counters


def test_what_is_assumed_of_a_counter_that_does_not_begin_with_the_picture(board, said) -> None:
    (finding,) = said(replace(board, counters=Counters(x_start=144)), "counters")
    assert finding.level == "note"
    assert finding.message == (
        "the x counter is taken to be preset to 144 at the first visible place, so sync begins at 800; "
        "set x_reset = 0 if it is reset to 0 after 799 and sync begins at 0"
    )


def test_a_count_that_differs_is_named(board, said) -> None:
    """800 counts, sync from 656 to 751 of them after the picture begins: at 100 the sync is the same either way."""
    for start, now, then in (
        (144, "sync begins at 800", "799 and sync begins at 0"),
        (100, "the back porch begins at 852", "799 and the back porch begins at 52"),
        (10, "its last count is 809", "799"),
    ):
        (finding,) = said(replace(board, counters=Counters(x_start=start)), "counters")
        assert finding.message == (
            f"the x counter is taken to be preset to {start} at the first visible place, so {now}; "
            f"set x_reset = 0 if it is reset to 0 after {then}"
        )


def test_nothing_is_assumed_where_it_is_said_or_cannot_be_otherwise(board, said) -> None:
    for counters in (Counters(), Counters(x_start=144, x_reset=0, y_start=35, y_reset=0), Counters(x_start=161)):
        assert said(replace(board, counters=counters), "counters") == []
