from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from ladderlight.board import Board, Counters, Packing, Part, Raster
from ladderlight.board.advice.checks import problems_of

ADDRESS = ["x2-x9", "y2-y8"]
DATA = ["b0-b1", "g0-g1", "r0-r1"]


@pytest.fixture
def problems(make_board, memory):
    """Give ``(where, text)`` of each problem of a board with these memories."""

    def find(*memories, **more) -> list[tuple[tuple[str | int, ...], str]]:
        board = make_board(*memories, check=False, **more)
        return [(problem.where, str(problem)) for problem in problems_of(board)]

    return find


def test_a_sound_board_has_none(board: Board) -> None:
    assert problems_of(board) == []


def test_no_memory(board: Board) -> None:
    found = problems_of(replace(board, memories=()))
    assert ("memory",) in [problem.where for problem in found]


def test_too_many_address_lines(problems, memory) -> None:
    found = problems(memory(address=[*ADDRESS, "bank0"], data=DATA, part="27C256"))
    assert found == [
        (
            ("memory", 0, "address"),
            "27C256 has 15 address lines, but 16 are listed; leave out bank0 for 160x120 square pixels in 1 bank, "
            "y2 for 160x60 1:2 pixels or x2 for 80x120 2:1 pixels, or use a 27C512 or set chips = 2",
        )
    ]


def test_chips_add_address_lines(problems, memory) -> None:
    assert problems(memory(address=[*ADDRESS, "bank0"], data=DATA, part="27C256", chips=2)) == []


@pytest.mark.parametrize(
    ("entry", "text"),
    [
        ("x10", "A15: x10 never changes: the x counter counts 0 to 799; use x0 to x9, or low"),
        ("y10", "A15: y10 never changes: the y counter counts 0 to 524; use y0 to y9, or low"),
        ("bank16", "A15: bank16 is beyond the 16 bank lines; use bank0 to bank15"),
        ("bnk0", "A15: nothing drives line 'bnk0'; did you mean 'bank0'?"),
        ("picure.d7", "A15: no memory is called 'picure'; did you mean 'picture'?"),
        ("picture.d8", "A15: memory 'picture' has no output d8; use d0 to d7"),
    ],
)
def test_lines_that_do_not_exist(problems, memory, entry: str, text: str) -> None:
    assert problems(memory(address=[*ADDRESS, entry], data=DATA)) == [(("memory", 0, "address", 15), text)]


@pytest.mark.parametrize(
    ("entry", "pin", "text"),
    [
        ("X2-X8", 15, "A15 to A21: nothing drives lines 'X2' to 'X8'; did you mean 'x2-x8'?"),
        ("X8-X2", 15, "A15 to A21: nothing drives lines 'X8' to 'X2'; did you mean 'x8-x2'?"),
        ("bnk1-bnk3", 15, "A15 to A17: nothing drives lines 'bnk1' to 'bnk3'; did you mean 'bank1-bank3'?"),
        ("X2", 15, "A15: nothing drives line 'X2'; did you mean 'x2'?"),
        (
            "x2-x19",
            23,
            "A23 to A32: x10 to x19 never change: the x counter counts 0 to 799; use x0 to x9, or low",
        ),
        ("Y2^x2-x4", 15, "A15 to A17: nothing drives line 'Y2'; did you mean 'y2'?"),
        (
            "spare^x2-x3",
            15,
            "A15 to A16: nothing drives line 'spare'; use one of b0, b1, bank0, g0, g1, high, low, "
            "picture.d0, r0, r1, x0, y0",
        ),
        ("bank14-bank17", 17, "A17 to A18: bank16 to bank17 are beyond the 16 bank lines; use bank0 to bank15"),
        ("picture.d6-picture.d9", 17, "A17 to A18: memory 'picture' has no outputs d8 to d9; use d0 to d7"),
    ],
)
def test_an_impossible_range_is_one_problem(problems, memory, entry: str, pin: int, text: str) -> None:
    found = problems(memory(address=[*ADDRESS, entry], data=DATA, part=Part(number="huge", words=1 << 40, width=8)))
    assert found == [(("memory", 0, "address", pin), text)]


def test_entries_that_do_not_count_on_are_problems_of_their_own(problems, memory) -> None:
    found = problems(memory(address=[*ADDRESS, "X2", "X5"], data=DATA))
    assert [text.partition(";")[0] for _, text in found] == [
        "A15: nothing drives line 'X2'",
        "A16: nothing drives line 'X5'",
    ]


def test_a_later_start_reaches_higher_bits(problems, memory) -> None:
    assert problems(memory(address=[*ADDRESS, "x10"], data=DATA), counters=Counters(x_start=1024)) == []


def test_too_many_data_lines(problems, memory) -> None:
    found = problems(memory(address=["x4-x9", "y2-y8"], data=DATA, packing=Packing(pixels=4)))
    assert found[0][0] == ("memory", 0, "data")
    assert found[0][1] == (
        "memory 'picture' has 2 data pins per pixel (8 bits, 4 pixels in a word), but 6 are listed; "
        "leave some out or use a wider part"
    )


def test_a_line_driven_twice(problems, memory) -> None:
    found = problems(memory(address=ADDRESS, data=[*DATA, "r1"]))
    assert [where for where, _ in found] == [("memory", 0, "data", 5), ("memory", 0, "data", 6)]
    assert "driven by 2 data pins" in found[0][1]


def test_a_ladder_line_without_a_driver(problems, memory) -> None:
    found = problems(memory(address=ADDRESS, data=["b0-b1", "g0-g1", "r0"]))
    text = "no memory's data pin drives ladder line 'r1'; list it in a memory's data, or use one of b0, b1, g0, g1, r0"
    assert found == [(("ladder", "red", "r1"), text)]


def test_a_data_line_that_nothing_uses(problems, memory) -> None:
    ((where, text),) = problems(memory(address=ADDRESS, data=[*DATA, "lamp"]))
    assert where == ("memory", 0, "data", 6)
    assert text.startswith("nothing uses line 'lamp'; use one of b0, b1, g0, g1, r0, r1 or write \"-\"")


@pytest.mark.parametrize(("typed", "meant"), [("hsynk", "hsync"), ("VSYNC", "vsync"), ("x_rest", "x_reset")])
def test_a_mistyped_timing_line_in_a_memory_of_its_own(typed: str, meant: str, problems, memory) -> None:
    found = problems(memory(address=ADDRESS, data=DATA), memory("line", address=["x0-x9"], data=[typed]))
    text = f'nothing uses line {typed!r}; did you mean {meant!r}? Otherwise write "-" for a pin that drives nothing'
    assert found == [(("memory", 1, "data", 0), text)]


def test_a_data_line_called_like_a_counter_bit(problems, memory, ladder) -> None:
    found = problems(memory(address=ADDRESS, data=["x1"]), ladder=ladder(grey={"x1": 150.0}))
    assert found == [
        (
            ("memory", 0, "data", 0),
            "'x1' is already the name of a counter bit or a constant; choose another name",
        )
    ]


def test_a_memory_that_nothing_reads(problems, memory) -> None:
    found = problems(memory(address=ADDRESS, data=DATA), memory("spare", address=["x2"], data=[]))
    assert [where for where, _ in found] == [("memory", 1, "data")]
    assert "nothing uses the data of memory 'spare'" in found[0][1]


def test_two_memories_of_one_name(problems, memory) -> None:
    found = problems(memory(address=ADDRESS, data=DATA[:2]), memory(address=ADDRESS, data=DATA[2:]))
    assert [where for where, _ in found] == [("memory", 0, "name"), ("memory", 1, "name")]


def test_a_loop(problems, memory) -> None:
    found = problems(
        memory("one", address=["x2-x9", "two.d0"], data=DATA),
        memory("two", address=["y2-y8", "one.d6"], data=[]),
    )
    assert found == [
        (
            ("memory",),
            "memories one, two address each other in a loop; let at least one be addressed by counters alone",
        )
    ]


def test_packing_needs_bits_below_the_address(problems, memory, ladder) -> None:
    found = problems(
        memory(address=["x2-x9", "y2-y8"], data=["v0"], packing=Packing(pixels=8)),
        ladder=ladder(grey={"v0": 150.0}),
    )
    assert found == [
        (
            ("memory", 0, "packing"),
            "8 pixels in a word need 3 x bits below the lowest one in the address; "
            "start its address, or that of the memory which addresses it, at x3 or higher",
        )
    ]


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ({"part": Part(number="odd", words=5000, width=8)}, ("words",)),
        ({"part": Part(number="wide", words=1 << 17, width=64)}, ("width",)),
        ({"chips": 3}, ("chips",)),
        ({"chips": 0}, ("chips",)),
        ({"packing": Packing(pixels=3)}, ("packing", "pixels")),
        ({"packing": Packing(pixels=16)}, ("packing", "pixels")),
        ({"access": 0.0}, ("access",)),
        ({"fill": 256}, ("fill",)),
    ],
)
def test_numbers_out_of_range(problems, memory, more: dict, key: tuple[str, ...]) -> None:
    ((where, text),) = problems(memory(address=ADDRESS, data=DATA, **more))
    assert where == ("memory", 0, *key)
    assert ";" in text


@pytest.mark.parametrize(
    ("counters", "where"),
    [
        (Counters(x_start=-1), ("counters", "x_start")),
        (Counters(y_start=70_000), ("counters", "y_start")),
        (Counters(x_reset=-1), ("counters", "x_reset")),
        (Counters(x_start=161, x_reset=0), ("counters", "x_reset")),
        (Counters(y_start=4, y_reset=5), ("counters", "y_reset")),
        (Counters(blanking_delay=800), ("counters", "blanking_delay")),
        (Counters(blanking_delay=-1), ("counters", "blanking_delay")),
        (Counters(delay=-1e-9), ("counters", "delay")),
    ],
)
def test_counters_out_of_range(problems, memory, counters: Counters, where: tuple[str, ...]) -> None:
    assert [place for place, _ in problems(memory(address=ADDRESS, data=DATA), counters=counters)] == [where]


def test_a_clock_of_zero(board: Board) -> None:
    stopped = replace(board, raster=Raster(mode=board.raster.mode, clock=Fraction(0)))
    assert [problem.where for problem in problems_of(stopped)] == [("clock",)]


def test_codes_of_more_than_16_bits(problems, memory, ladder) -> None:
    names = [f"v{bit}" for bit in range(18)]
    found = problems(
        memory("low", address=ADDRESS, data=["v0-v8"], part="27C1024"),
        memory("high", address=ADDRESS, data=["v9-v17"], part="27C1024"),
        ladder=ladder(grey=dict.fromkeys(names, 1000.0)),
    )
    assert found == [(("ladder",), "the ladders have 18 lines; a code has at most 16 bits; leave some out")]


def test_all_problems_are_given_at_once(problems, memory) -> None:
    found = problems(memory(address=["x2-x9", "y12", "nothing"], data=["b0-b1", "g0", "r0-r1"]))
    assert {where for where, _ in found} == {
        ("ladder", "green", "g1"),
        ("memory", 0, "address", 8),
        ("memory", 0, "address", 9),
    }
