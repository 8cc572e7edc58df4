from __future__ import annotations

from dataclasses import replace

import pytest

from ladderlight.board import Counters

DATA = ["b0-b1", "g0-g1", "r0-r1"]


@pytest.fixture
def about(make_board, memory, said):
    """Give level and message of what is said first about the only memory's speed."""

    def first(address=("x2-x9", "y2-y9"), *, counters=None, **more) -> tuple[str, str]:
        board = make_board(memory(address=list(address), data=DATA, **more), counters=counters)
        finding = said(board, "memory picture")[0]
        return finding.level, finding.message

    return first


def test_no_access_time(about) -> None:
    level, message = about()
    assert level == "note"
    assert "a word is held 158.9 ns; set access" in message
    _, message = about(counters=Counters(delay=20e-9))
    assert "a word is held 158.9 ns and must be valid within 138.9 ns of its address" in message


def test_a_direct_output_that_never_shows_a_whole_word_is_an_error(about) -> None:
    level, message = about(access=200e-9, counters=Counters(delay=22e-9))
    assert level == "error"
    assert "too slow by 63.1 ns: a word needs 222.0 ns and is held 158.9 ns, so no word is ever shown whole" in message
    assert "use the 120 ns grade of the 27C010 or pixels 8 counts wide (x bits 1 higher)" in message


def test_a_register_that_is_late_is_an_error(about) -> None:
    level, message = about(access=200e-9, output="register")
    assert level == "error"
    assert "its register takes unfinished words" in message


def test_what_is_left_must_hold_the_set_up_time(about) -> None:
    level, message = about(access=150e-9, output="register")
    assert level == "caution"
    assert "8.9 ns remain for its register's set-up time, commonly 12.0 ns" in message


def test_another_part_of_the_same_size(about) -> None:
    _, message = about(["x1-x9", "y1-y6"], access=150e-9, part="28C256")
    assert "use a 27C256 of 70 ns or pixels 4 counts wide" in message


def test_no_part_is_known_to_be_so_fast(about) -> None:
    _, message = about(["x0-x9", "y1-y5"], access=150e-9, part="28C256")
    assert "use a part of 39.7 ns or faster or pixels 4 counts wide (x bits 2 higher)" in message


def test_a_word_that_comes_when_the_next_is_asked_for_is_an_error(make_board, memory, said) -> None:
    """At 25 MHz a hold of four counts is 160 ns."""
    board = make_board(memory(address=["x2-x9", "y2-y9"], data=DATA, access=160e-9), clock="25000000")
    finding = said(board, "memory picture")[0]
    assert finding.level == "error"
    assert "too slow by 0.0 ns" in finding.message


def test_words_that_wait_for_another_memory_are_not_all_words(make_board, memory, said) -> None:
    """At 3.146875 MHz a count is 317.8 ns: 100 ns are in time, but not after 250 ns of the map."""
    board = make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=DATA, part="28C256", access=100e-9),
        memory("map", address=["x3-x6", "y3-y8"], data=[], part="28C16", access=250e-9),
        clock="3146875",
    )
    finding = said(board, "memory tile")[0]
    assert finding.level == "caution"
    assert "too slow by 32.2 ns: a word needs 350.0 ns and is held 317.8 ns, so one word in 8 is never shown whole" in (
        finding.message
    )


def test_what_a_direct_output_shows_at_each_change(about) -> None:
    level, message = about(access=90e-9, counters=Counters(delay=22e-9))
    assert level == "caution"
    assert (
        "the old word for 22.0 ns and then undefined data for 2.3 monitor pixels: undefined for 90.0 of 158.9 ns, 56 % "
        "of the picture; an output register hides it"
    ) in message


@pytest.mark.parametrize(
    ("access", "level", "share"),
    [
        (120e-9, "caution", "undefined for 120.0 of 158.9 ns, 75 % of the picture"),
        (16e-9, "caution", "undefined for 16.0 of 158.9 ns, 10 % of the picture"),
        (15e-9, "note", "undefined for 15.0 of 158.9 ns, 9 % of the picture"),
    ],
)
def test_from_a_tenth_of_the_picture_on_undefined_data_are_a_caution(about, access, level: str, share: str) -> None:
    assert about(access=access) == (
        level,
        f"at each word change the monitor sees undefined data for {access * 25.175e6:.1f} monitor pixels: {share}; "
        "an output register hides it",
    )


@pytest.fixture
def delayed(make_board, memory, said):
    """Give what is said of the edges of a registered board, by its delay of sync and blanking."""

    def messages(delay: int = 0, *, address=("x2-x9", "y2-y9"), blanking: str = "gate", clock: str = "25175000"):
        board = make_board(
            memory(address=list(address), data=DATA, access=90e-9, output="register"),
            counters=Counters(blanking_delay=delay),
            clock=clock,
        )
        return [(finding.level, finding.message) for finding in said(replace(board, blanking=blanking), "counters")]

    return messages


def test_a_register_moves_the_picture(delayed) -> None:
    assert delayed() == [
        (
            "caution",
            "registers delay the picture by 4 counts, but sync and blanking are not delayed: of each line the left 4 "
            "counts (4 monitor pixels) show the fill before the picture, and as many are cut off at the "
            "right; delay sync and blanking by 4 counts and set blanking_delay = 4",
        )
    ]


def test_sync_and_blanking_that_come_as_late_as_the_picture(delayed) -> None:
    assert delayed(4) == []


@pytest.mark.parametrize(
    ("delay", "what"),
    [
        (3, "blanking_delay is 3: of each line the left 1 count (1 monitor pixel) show the fill before the picture"),
        (7, "blanking_delay is 7: of each line the left 3 counts (3 monitor pixels) are cut off"),
    ],
)
def test_another_delay(delayed, delay: int, what: str) -> None:
    ((level, message),) = delayed(delay)
    assert level == "caution"
    assert what in message
    assert message.endswith("set blanking_delay = 4")


def test_what_the_left_edge_shows(delayed) -> None:
    """x2-x8 of 640 counts wrap: the last counts of the line before are read where the picture reads too."""
    assert "show black, and as many" in delayed(blanking="none")[0][1]
    assert "show words of other places of the picture" in delayed(address=["x2-x8", "y2-y9"])[0][1]


def test_counts_of_several_monitor_pixels(delayed) -> None:
    """At half the dot clock a count is two monitor pixels."""
    assert "the left 4 counts (8 monitor pixels)" in delayed(address=["x2-x8", "y2-y9"], clock="12587500")[0][1]


def test_a_delay_that_nothing_asks_for(make_board, memory, said) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y9"], data=DATA), counters=Counters(blanking_delay=2))
    (finding,) = said(board, "counters")
    assert finding.message == (
        "no register delays the picture, but blanking_delay is 2: of each line the left 2 counts (2 monitor pixels) "
        "are cut off, and as many after the picture's end are shown; set blanking_delay = 0"
    )


def test_planes_that_come_apart(make_board, memory, said) -> None:
    board = make_board(
        memory("low", address=["x2-x9", "y2-y9"], data=DATA[:2], output="register", access=90e-9),
        memory("high", address=["x2-x9", "y2-y9"], data=DATA[2:], access=90e-9),
    )
    (finding,) = said(board, "memory low and high")
    assert finding.level == "caution"
    assert "reach the ladders 4 counts and 0 counts late" in finding.message


@pytest.mark.parametrize(("access", "offered"), [(15e-9, True), (30e-9, False)])
def test_a_register_in_front_is_offered_where_it_would_do(
    make_board, memory, said, access: float, offered: bool
) -> None:
    """22 ns for the register and 15 ns for the tiles fit into 39.7 ns; 30 ns do not."""
    board = make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=DATA, part="28C256", access=access),
        memory("map", address=["x3-x9", "y3-y8"], data=[], part="28C64", access=150e-9),
    )
    message = said(board, "memory tile")[0].message
    assert ("an output register on memory map" in message) is offered
    assert "pixels 8 counts wide" in message
