from __future__ import annotations

from dataclasses import replace

import pytest

from ladderlight.bench.parts import parts_of, rating_above
from ladderlight.bench.wiring import Wiring
from ladderlight.board import Part


def listed(board):
    return [(part.quantity, part.value, part.what) for part in parts_of(board, Wiring(board))]


def test_the_parts_of_a_board(make_board, memory) -> None:
    """715 ohm alone dissipates (5 V - 0.4516 V)^2 / 715 ohm = 28.9 mW, 1330 ohm 17.0 mW (Millman)."""
    board = make_board(
        memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], access=120e-9, output="register")
    )
    assert listed(replace(board, blanking="gate")) == [
        (1, "27C010", "memory chip, 120 ns or faster, DIP-32"),
        (1, "74HC04", "six inverters, 2 of 6 used"),
        (1, "74HC574", "eight register bits, three-state outputs, 6 of 8 used"),
        (2, "74HC08", "four 2-input AND gates, 6 of 8 used"),
        (6, "74HC161", "counter, four bits, synchronous, presettable; x has 10 bits, y 10"),
        (3, "715", "resistor, 5 %, 0.125 W or more: R2, R4 and R6, dissipating up to 28.9 mW"),
        (3, "1k33", "resistor, 5 %, 0.125 W or more: R1, R3 and R5, dissipating up to 17 mW"),
        (1, "DIP-32", "socket for a memory chip"),
        (1, "DE-15", "connector J1, 15-pin, socket, high density"),
        (1, "25.175 MHz", "oscillator"),
        (11, "100 nF", "ceramic capacitor, from VCC to GND beside each chip"),
    ]


@pytest.mark.parametrize(
    ("watts", "rating"),
    [(0.0, 0.125), (0.124, 0.125), (0.125, 0.25), (0.24, 0.25), (0.3, 0.5), (0.7, 1.0), (1.5, 2.0)],
)
def test_the_next_rating_above_a_dissipation(watts, rating) -> None:
    """Ratings of 1/8, 1/4, 1/2, 1 and 2 W: common practice, no source."""
    assert rating_above(watts) == rating


def test_without_an_access_time_the_grade_that_suffices_is_listed(make_board, memory) -> None:
    """Words are held four counts of 39.72 ns: 150 ns is the slowest grade of the 27C010 within 158.9 ns."""
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]))
    assert listed(board)[0] == (1, "27C010", "memory chip, 150 ns or faster, DIP-32")


def test_a_part_of_ones_own_is_listed_by_its_marking(make_board, memory, ladder) -> None:
    own = Part(number="MH-77", words=1 << 14, width=4, package="SO-28")
    board = make_board(
        memory(address=["x3-x9", "y3-y8"], data=["r0"], part=own, chips=2), ladder=ladder(red={"r0": 460.0})
    )
    assert listed(board)[0] == (2, "MH-77", "memory chip, speed not stated, SO-28")
    assert (2, "SO-28", "socket for a memory chip") in listed(board)


def test_a_socket_whose_package_is_not_stated(make_board, memory, ladder) -> None:
    own = Part(number="16384x4", words=1 << 14, width=4)
    board = make_board(memory(address=["x3-x9", "y3-y8"], data=["r0"], part=own), ladder=ladder(red={"r0": 460.0}))
    assert (1, "socket", "socket for a memory chip, package not stated") in listed(board)


@pytest.mark.parametrize(
    ("clock", "value", "what"),
    [
        ("12587500", "25.175 MHz", "oscillator, divided by 2 for the x counter's clock"),
        ("6293750", "25.175 MHz", "oscillator, divided by 4 for the x counter's clock"),
        ("25170000", "25.17 MHz", "oscillator, not a common frequency"),
    ],
)
def test_the_oscillator_that_makes_the_clock(make_board, memory, ladder, clock, value, what) -> None:
    board = make_board(
        memory(address=["x3-x7", "y3-y8"], data=["r0"], part="27C256"), ladder=ladder(red={"r0": 460.0}), clock=clock
    )
    assert (1, value, what) in listed(board)
    flip_flops = [row for row in listed(board) if row[1] == "74HC74"]
    assert len(flip_flops) == ("divided" in what)
