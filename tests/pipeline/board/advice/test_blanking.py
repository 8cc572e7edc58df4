from __future__ import annotations

from dataclasses import replace

import pytest

from ladderlight.board import Counters

DATA = ["b0-b1", "g0-g1", "r0-r1"]


@pytest.mark.parametrize("way", ["output-enable", "gate"])
def test_nothing_is_said_of_a_board_that_is_dark(board, said, way: str) -> None:
    assert said(replace(board, blanking=way), "blanking") == []


def test_the_picture_again_below_itself(board, said) -> None:
    (finding,) = said(board, "blanking")
    assert finding.level == "caution"
    assert "at line 512, count 0 memory picture is read at 0000h again, one of 640 words" in finding.message
    assert finding.message.endswith(
        "; wire y9 to the address of memory picture (which takes a larger part), or gate or disable the outputs during "
        "blanking"
    )


def test_the_places_are_what_the_counters_read(board, said) -> None:
    """The picture's lines are 35 to 514; blanking begins with 515, which reads what 512 does."""
    (finding,) = said(replace(board, counters=Counters(x_start=144, y_start=35, y_reset=0)), "blanking")
    assert "at line 515, count 144 memory picture is read at 0024h again" in finding.message


def test_an_edge_of_the_picture_shows_when_registers_delay_it(make_board, memory, said) -> None:
    def registered(delay: int):
        return make_board(
            memory(address=["x2-x9", "y2-y9"], data=DATA, output="register"), counters=Counters(blanking_delay=delay)
        )

    (finding,) = said(registered(0), "blanking")
    assert finding.level == "caution"
    assert "an edge of the picture shows during blanking" in finding.message
    assert "delay the picture by 4 counts and blanking is delayed by 0" in finding.message
    assert [finding.level for finding in said(registered(4), "blanking")] == ["note"]


def test_a_spare_pin_takes_the_missing_bit(make_board, memory, said) -> None:
    (finding,) = said(make_board(memory(address=["x2-x9", "y2-y8"], data=DATA)), "blanking")
    assert "; wire y9 to the address of memory picture, or gate or disable the outputs" in finding.message


def test_words_that_can_be_black(make_board, memory, said) -> None:
    (finding,) = said(make_board(memory(address=["x2-x9", "y2-y9"], data=DATA)), "blanking")
    assert finding.level == "note"
    assert "are filled with black" in finding.message


def test_a_register_that_is_not_there(board, said) -> None:
    (finding,) = said(replace(board, blanking="register"), "blanking")
    assert finding.level == "caution"
    assert "memory picture has a direct output" in finding.message


def test_low_outputs_above_ground(board, said) -> None:
    glowing = replace(board, ladder=replace(board.ladder, low_volts=0.4), blanking="gate")
    (finding,) = said(glowing, "blanking")
    assert finding.level == "caution"
    assert "the darkest colour is not 0 V (0.056 V)" in finding.message


def test_tile_hardware(make_board, memory, said) -> None:
    board = make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=DATA, part="27C256"),
        memory("map", address=["x3-x9", "y3-y8"], data=[], part="28C64"),
    )
    (finding,) = said(board, "blanking")
    assert finding.level == "caution"
    assert "depend on the map" in finding.message
