"""Advice as a whole: order, places, and that every finding says what to do."""

from __future__ import annotations

from dataclasses import replace

from ladderlight.board import Board, Counters, Raster
from ladderlight.board.advice import findings

DATA = ["b0-b1", "g0-g1", "r0-r1"]


def test_a_board_in_good_order_has_no_errors_and_no_cautions(make_board, memory, ladder) -> None:
    board = make_board(
        memory(address=["x2-x9", "y2-y9"], data=DATA, part="27C512", access=90e-9, output="register"),
        ladder=ladder(
            red={"r0": 1620.0, "r1": 698.0}, green={"g0": 1620.0, "g1": 698.0}, blue={"b0": 1620.0, "b1": 698.0}
        ),
    )
    found = findings(replace(board, blanking="register", counters=Counters(blanking_delay=4)))
    assert {finding.level for finding in found} <= {"note", "caution"}
    assert not [finding for finding in found if finding.level == "caution" and "mA" not in finding.message]


def test_findings_are_ranked(make_board, memory) -> None:
    board = make_board(
        memory(address=["x2-x8", "y2-y8"], data=DATA, access=200e-9, output="register"), clock="25000000"
    )
    levels = [finding.level for finding in findings(board)]
    assert levels == sorted(levels, key=("error", "caution", "note").index)
    assert set(levels) == {"error", "caution", "note"}


def test_every_finding_is_one_line_with_something_to_do(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x8", "y1-y8"], data=DATA, access=200e-9), clock="20000000")
    found = findings(board)
    assert len(found) >= 6
    for finding in found:
        assert "\n" not in finding.message
        assert finding.where
        assert "; " in finding.message
        assert not finding.message.endswith(".")


def test_what_is_impossible_comes_alone(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x12", "nothing"], data=DATA), check=False)
    found = findings(board)
    assert [finding.level for finding in found] == ["error"] * 2
    assert found[0].where == "memory.0.address.8"


def test_a_clock_of_zero_is_an_error_and_no_crash(board: Board) -> None:
    stopped = replace(board, raster=Raster(mode=board.raster.mode, clock=board.raster.clock * 0))
    assert [finding.where for finding in findings(stopped)] == ["clock"]
