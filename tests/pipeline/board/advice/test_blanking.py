"""Blanking; what keeps a memory from driving timing lines, and what is said of those that it drives."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from ladderlight.board import Board, Channel, Counters, Ladder, Packing
from ladderlight.board.advice import findings
from ladderlight.board.advice.checks import problems_of

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


COLOURS = ["b0-b1", "g0-g1", "r0-r1"]


@pytest.fixture
def timed(make_board: Callable[..., Board], memory: Callable) -> Callable[..., Board]:
    """A board with 100 counts a line and a memory for timing lines beside its picture memory; not checked."""

    def make(data: list[str], address: list[str], counters: Counters | None = None, **more: object) -> Board:
        picture = memory(address=["x2-x6", "y4-y8"], data=COLOURS, output="register")
        timing = memory("timing", address=address, data=data, **more)
        return make_board(picture, timing, clock=str(25175000 // 8), counters=counters, check=False)

    return make


def said(board: Board) -> list[str]:
    return [f"{'.'.join(map(str, problem.where))}: {problem}" for problem in problems_of(board)]


@pytest.mark.parametrize(
    ("line", "address", "message"),
    [
        # 80 visible of 100 counts, sync from 82 to 93; 480 of 525 lines, sync at 490 and 491.
        ("hsync", ["x1-x6"], None),
        (
            "hsync",
            ["x2-x6"],
            "timing line 'hsync' must be low at count 82 of line 0 and high at count 80 of line 0, but memory 'timing' "
            "shows the word at address 0014h at both; add x1 to its address",
        ),
        (
            "x_reset",
            ["x2-x6"],
            "timing line 'x_reset' must be low at count 96 of line 0 and high at count 99 of line 0, but memory "
            "'timing' shows the word at address 0018h at both; add x0 and x1 to its address",
        ),
        ("!vsync", ["y0-y8"], None),
        (
            "vsync",
            ["y3-y8"],
            "timing line 'vsync' must be low at count 0 of line 490 and high at count 0 of line 488, but memory "
            "'timing' shows the word at address 003Dh at both; add y1 and y2 to its address",
        ),
        (
            "blank",
            ["x4-x6", "y5-y8"],
            "timing line 'blank' must be low at count 0 of line 0 and high at count 0 of line 512, but memory 'timing' "
            "shows the word at address 0000h at both; add y9 to its address",
        ),
        ("blank", ["x4-x6", "y5-y9"], None),
        (
            "y_reset",
            ["y0-y3"],
            "timing line 'y_reset' must be low at count 0 of line 12 and high at count 0 of line 524, but memory "
            "'timing' shows the word at address 000Ch at both; add y9 to its address",
        ),
    ],
)
def test_missing_address_bits_are_named_with_two_counts(
    line: str, address: list[str], message: str | None, timed: Callable[..., Board]
) -> None:
    found = said(timed(["-", line], address))
    assert found == ([] if message is None else [f"memory.1.data.1: {message}"])


def test_a_registered_memory_of_one_counter_lacks_bits_of_that_counter(timed: Callable[..., Board]) -> None:
    (message,) = said(timed(["y_reset"], ["y0-y8"], output="register"))
    assert message.endswith("add y9 to its address")
    assert said(timed(["y_reset"], ["y0-y9"], output="register")) == []


def test_counts_are_the_counters_own_and_the_named_bits_suffice(timed: Callable[..., Board]) -> None:
    counters = Counters(x_start=18, x_reset=0, y_start=35, y_reset=0)
    (message,) = said(timed(["hsync"], ["x3-x6"], counters))
    assert "must be low at count 8 of line 36 and high at count 12 of line 36" in message
    assert message.endswith("add x2 to its address")
    assert said(timed(["hsync"], ["x3-x6", "x2"], counters)) == []


def test_a_register_that_holds_for_several_counts_needs_lower_bits_too(timed: Callable[..., Board]) -> None:
    (message,) = said(timed(["x_reset"], ["x2-x6"], output="register"))
    assert message.endswith("add x0 and x1 to its address")
    assert said(timed(["x_reset"], ["x2-x6", "x0-x1"], output="register")) == []


def test_gates_that_make_counts_alike_are_named(timed: Callable[..., Board]) -> None:
    (message,) = said(timed(["hsync"], ["x0^x6", "x1^x6", "x2-x5"]))
    assert message.endswith("check the gates and constants in its address")


def test_a_memory_that_another_one_addresses_cannot_drive_them(make_board: Callable, memory: Callable) -> None:
    cells = memory("map", address=["x5-x9", "y5-y8"], data=["-"], part="27C256")
    tiles = memory("tiles", address=["x2-x4", "y2-y4", "map.d0-map.d5"], data=[*COLOURS, "blank"])
    (message,) = said(make_board(cells, tiles, check=False))
    assert message == (
        "memory.1.data.6: memory 'map' addresses this one, so it cannot drive timing line 'blank'; "
        "let a memory drive it that counters alone address"
    )


def test_a_packed_memory_cannot_drive_them(make_board: Callable, memory: Callable, ladder: Callable) -> None:
    plane = memory(address=["x3-x9", "y0-y8"], data=["v0", "hsync"], packing=Packing(pixels=4))
    (message,) = said(make_board(plane, ladder=ladder(grey={"v0": 139.0}), check=False))
    assert "a word of this memory holds 4 pixels" in message


def test_outputs_that_blanking_disables_cannot_drive_them(make_board: Callable, memory: Callable) -> None:
    address = ["x4-x9", "y0-y9"]
    board = make_board(memory(address=address, data=[*COLOURS, "hsync"]), check=False)
    (message,) = said(replace(board, blanking="output-enable"))
    assert message.startswith("memory.0.data.6: blanking disables this memory's outputs")
    assert said(replace(board, blanking="gate")) == []
    registered = memory(address=address, data=[*COLOURS, "hsync"], output="register")
    assert said(replace(make_board(registered, check=False), blanking="output-enable")) == []


def test_a_ladder_line_has_another_name(make_board: Callable, memory: Callable) -> None:
    ladder = Ladder(supply=5.0, channels=(Channel(name="grey", resistors={"blank": 139.0}, guns=(0, 1, 2)),))
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["blank"]), ladder=ladder, check=False)
    assert said(board)[0] == (
        "ladder.grey.blank: 'blank' is the timing line for blanking; give the ladder's line another name, such as r0"
    )


def test_a_timing_memory_does_not_change_the_picture(timed: Callable[..., Board]) -> None:
    board = timed(["hsync", "vsync"], ["x0-x6", "y0-y9"])
    assert problems_of(board) == []
    geometry = board.geometry
    assert (geometry.width, geometry.height, geometry.repeat_x, geometry.repeat_y) == (20, 30, 4, 16)
    assert [memory.name for memory in board.picture_memories] == ["picture"]


def test_a_direct_output_for_the_monitor_is_a_caution(timed: Callable[..., Board]) -> None:
    def cautions(board: Board) -> list[str]:
        return [one.message for one in findings(board) if one.level == "caution" and one.where == "memory timing"]

    (message,) = cautions(timed(["hsync", "!vsync", "x_reset"], ["x0-x6", "y0-y9"]))
    assert message == (
        "a direct output is undefined for the access time after each change of the address, and so are hsync and "
        '!vsync; set output = "register"'
    )
    assert cautions(timed(["x_reset", "y_reset"], ["x0-x6", "y0-y9"])) == []
    assert cautions(timed(["hsync"], ["x0-x6"], output="register")) == []
