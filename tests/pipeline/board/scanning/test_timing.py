from __future__ import annotations

import pytest

from ladderlight.board import Counters, Packing
from ladderlight.board.scanning.timing import (
    REGISTER_DELAY,
    REGISTER_SETUP,
    latency_in_counts,
    longest_access,
    timings,
    undefined_share,
)

PERIOD = 1 / 25.175e6
DATA = ["b0-b1", "g0-g1", "r0-r1"]


def test_the_margin_is_the_hold_less_delay_and_access(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=120e-9), counters=Counters(delay=22e-9))
    timing = timings(board)["picture"]
    assert timing.hold == pytest.approx(4 * PERIOD)
    assert timing.arrival == pytest.approx(142e-9)
    assert timing.margin == pytest.approx(4 * PERIOD - 142e-9)


def test_without_an_access_time_there_is_no_margin(board) -> None:
    timing = timings(board)["picture"]
    assert timing.access is None
    assert timing.margin is None


def test_delays_add_up_through_the_graph(make_board, memory) -> None:
    board = make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=DATA, part="27C256", access=70e-9),
        memory("map", address=["x3-x9", "y3-y8"], data=[], part="28C64", access=150e-9),
    )
    found = timings(board)
    assert found["map"].hold == pytest.approx(8 * PERIOD)
    assert found["tile"].hold == pytest.approx(PERIOD)
    assert found["map"].arrival == pytest.approx(150e-9)
    assert found["tile"].arrival == pytest.approx(220e-9)


def test_rows_alone_hold_for_lines(make_board, memory) -> None:
    board = make_board(memory(address=["y2-y8"], data=DATA))
    assert timings(board)["picture"].hold == pytest.approx(800 * 4 * PERIOD)


def test_a_packed_word_is_held_for_all_its_pixels(make_board, memory, ladder) -> None:
    board = make_board(
        memory("colour", address=["picture.d0"], data=["v0"], part="2716", access=50e-9),
        memory("picture", address=["x3-x9", "y2-y8"], data=[], part="27C256", packing=Packing(pixels=8)),
        ladder=ladder(grey={"v0": 150.0}),
    )
    found = timings(board)
    assert found["picture"].hold == pytest.approx(8 * PERIOD)
    assert found["colour"].hold == pytest.approx(PERIOD)


def test_an_old_word_then_undefined_data(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=90e-9), counters=Counters(delay=22e-9))
    timing = timings(board)["picture"]
    assert timing.old == pytest.approx(22e-9)
    assert timing.undefined == pytest.approx(90e-9)


def test_never_more_than_the_hold(make_board, memory) -> None:
    board = make_board(memory(address=["x0-x9", "y2-y8"], data=DATA, access=90e-9), counters=Counters(delay=22e-9))
    timing = timings(board)["picture"]
    assert timing.margin == pytest.approx(PERIOD - 112e-9)
    assert timing.old + timing.undefined == pytest.approx(PERIOD)


def test_a_register_hides_what_is_in_time_and_spoils_what_is_late(make_board, memory) -> None:
    for access, undefined in ((90e-9, 0.0), (190e-9, 4 * PERIOD)):
        board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=access, output="register"))
        timing = timings(board)["picture"]
        assert timing.old == 0
        assert timing.undefined == pytest.approx(undefined)


def test_a_register_starts_the_time_anew(make_board, memory) -> None:
    board = make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=DATA, part="27C256", access=10e-9),
        memory("map", address=["x3-x9", "y3-y8"], data=[], part="28C64", access=150e-9, output="register"),
    )
    assert timings(board)["tile"].arrival == pytest.approx(REGISTER_DELAY + 10e-9)


def test_an_unknown_access_leaves_later_arrivals_unknown(make_board, memory) -> None:
    board = make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=DATA, part="27C256", access=10e-9),
        memory("map", address=["x3-x9", "y3-y8"], data=[], part="28C64"),
    )
    assert timings(board)["tile"].arrival is None
    assert longest_access(board, board.memory("tile")) is None
    assert longest_access(board, board.memory("map")) == pytest.approx(8 * PERIOD)


def test_the_register_needs_its_set_up_time(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, output="register"))
    assert longest_access(board, board.memory("picture")) == pytest.approx(4 * PERIOD - REGISTER_SETUP)


def test_registers_delay_by_their_holds(make_board, memory) -> None:
    board = make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=DATA, part="27C256", output="register"),
        memory("map", address=["x3-x9", "y3-y8"], data=[], part="28C64", output="register"),
    )
    assert latency_in_counts(board, board.memory("map")) == 8
    assert latency_in_counts(board, board.memory("tile")) == 9
    rows = make_board(memory(address=["y2-y8"], data=DATA, output="register"))
    assert latency_in_counts(rows, rows.memory("picture")) == 0


def test_the_share_of_undefined_data_is_that_of_the_time(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=120e-9))
    assert undefined_share(board) == pytest.approx(120e-9 / (4 * PERIOD))
    assert undefined_share(make_board(memory(address=["x2-x9", "y2-y8"], data=DATA))) is None
    registered = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=120e-9, output="register"))
    assert undefined_share(registered) == 0


def test_the_share_of_planes_is_that_of_the_slower_one(make_board, memory) -> None:
    board = make_board(
        memory("low", address=["x2-x9", "y2-y8"], data=DATA[:2], access=45e-9),
        memory("high", address=["x2-x9", "y2-y8"], data=DATA[2:], access=90e-9),
    )
    assert undefined_share(board) == pytest.approx(90e-9 / (4 * PERIOD))


def test_the_share_through_a_map_is_that_of_a_line_played_in_small_steps(make_board, memory) -> None:
    """Eight counts of 317.8 ns: one waits 200 + 70 ns, seven wait 70 ns; tried every nanosecond of a tile's row."""
    board = make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=DATA, part="28C256", access=70e-9),
        memory("map", address=["x3-x6", "y3-y8"], data=[], part="28C16", access=200e-9),
        clock="3146875",
    )
    count = 1e9 / 3146875
    moments = [step + 0.5 for step in range(round(8 * count))]
    undefined = [moment % count < (270 if moment < count else 70) for moment in moments]
    assert undefined_share(board) == pytest.approx(sum(undefined) / len(undefined), abs=2e-3)
