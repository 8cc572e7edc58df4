from __future__ import annotations

import numpy as np
import pytest

from ladderlight.board import Counters, Packing
from ladderlight.board.scanning.playback import count_codes, play
from ladderlight.board.scanning.scan import scan

from ....moments import disturbed, undefined_times

DATA = ["b0-b1", "g0-g1", "r0-r1"]


def noise(board, seed: int = 0) -> dict[str, np.ndarray]:
    random = np.random.default_rng(seed)
    return {m.name: random.integers(0, 1 << m.part.width, m.words).astype(np.uint32) for m in board.memories}


def scanned(board, words) -> np.ndarray:
    return scan(board, words, board.x_grid.counts[None, :], board.y_grid.counts[:, None], 0).codes


def test_without_registers_and_delays_it_shows_the_scan(board) -> None:
    words = noise(board)
    shown = play(board, words)
    assert shown.codes.shape == (480, 640)
    assert np.array_equal(shown.codes, scanned(board, words))
    assert not shown.undefined.any()


def test_a_count_covers_several_monitor_pixels(make_board, memory) -> None:
    board = make_board(memory(address=["x1-x7", "y3-y9"], data=DATA), mode="1024x768@60", clock="16250000")
    words = noise(board)
    assert np.array_equal(play(board, words).codes, scanned(board, words).repeat(4, axis=1))
    assert np.array_equal(count_codes(board, words), scanned(board, words))


def test_90_ns_at_16_25_mhz_leave_six_monitor_pixels_undefined_at_each_change(make_board, memory) -> None:
    board = make_board(
        memory(address=["x1-x7", "y3-y9"], data=DATA, access=90e-9), mode="1024x768@60", clock="16250000"
    )
    undefined = play(board, noise(board)).undefined
    assert undefined[0].tolist() == ([True] * 6 + [False] * 2) * 128


def test_the_old_word_stays_for_the_counters_delay(make_board, memory) -> None:
    board = make_board(
        memory(address=["x1-x7", "y3-y9"], data=DATA, access=46e-9),
        mode="1024x768@60",
        clock="16250000",
        counters=Counters(delay=30e-9),  # two monitor pixels of 15.4 ns
    )
    words = noise(board)
    shown = play(board, words)
    codes = scanned(board, words).repeat(4, axis=1)
    assert np.array_equal(shown.codes[:, 2:], codes[:, :-2])
    # before the first pixel stands what the last count of the line before addresses: count 335, line 805 for line 0
    assert shown.codes[0, 0] == scan(board, words, 335, 805).codes
    assert shown.codes[5, 1] == scan(board, words, 335, 4).codes
    assert shown.undefined[0, :12].astype(int).tolist() == [0, 0, 1, 1, 1, 0, 0, 0, 0, 0, 1, 1]


def test_words_that_stay_are_not_disturbed(make_board, memory) -> None:
    board = make_board(memory(address=["y2-y8"], data=DATA, access=100e-9))
    undefined = play(board, noise(board)).undefined
    assert not undefined[:, 3:].any()
    assert not undefined[1].any()  # the same row of the picture as line 0


def test_an_access_longer_than_the_hold_never_shows_a_whole_word(make_board, memory) -> None:
    board = make_board(
        memory(address=["x0-x7", "y2-y9"], data=DATA, access=150e-9), mode="1024x768@60", clock="16250000"
    )
    assert play(board, noise(board)).undefined.all()


def test_a_register_moves_the_picture_right_by_one_hold_and_hides_the_change(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=120e-9, output="register"))
    words = noise(board)
    shown = play(board, words)
    assert np.array_equal(shown.codes[:, 4:], scanned(board, words)[:, :-4])
    assert not shown.undefined.any()
    # the first word is the last one of the line before: counts 796 to 799
    assert shown.codes[8, 0] == scan(board, words, 796, 7).codes
    assert shown.codes[0, 3] == scan(board, words, 796, 524).codes
    assert np.array_equal(count_codes(board, words), shown.codes)


@pytest.mark.parametrize("delay", [0, 2, 4, 7])
def test_delayed_sync_and_blanking_show_what_the_register_shows_then(make_board, memory, delay: int) -> None:
    """The register delays the picture by 4 counts: with as much for sync and blanking the whole of it is shown."""
    board = make_board(
        memory(address=["x2-x9", "y2-y8"], data=DATA, access=120e-9, output="register"),
        counters=Counters(blanking_delay=delay),
    )
    words = noise(board)
    shown = play(board, words)
    picture = scanned(board, words)
    assert np.array_equal(count_codes(board, words), shown.codes)
    if delay == 4:
        assert np.array_equal(shown.codes, picture)
    elif delay < 4:
        left = 4 - delay
        assert np.array_equal(shown.codes[:, left:], picture[:, :-left])
        before = scan(board, words, 796, np.arange(-1, 479)[:, None] % 525, 0).codes
        assert (shown.codes[:, :left] == before).all()
    else:
        assert np.array_equal(shown.codes[:, :-3], picture[:, 3:])
        after = scan(board, words, 640, np.arange(480)[:, None], 0).codes
        assert (shown.codes[:, -3:] == after).all()


def test_delayed_sync_and_blanking_of_a_board_without_registers(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA), counters=Counters(blanking_delay=3))
    words = noise(board)
    assert np.array_equal(play(board, words).codes[:, :-3], scanned(board, words)[:, 3:])


def test_past_the_last_whole_count_there_is_black(make_board, memory) -> None:
    """254 of the 254.4 counts that would fill 640 monitor pixels; the middle of pixel 639 is at 254.2."""
    board = make_board(memory(address=["x0-x7", "y2-y8"], data=DATA, access=90e-9), clock="10000000")
    shown = play(board, {"picture": np.full(131_072, 63, dtype=np.uint32)})
    assert (shown.codes[:, :639] == 63).all()
    assert (shown.codes[:, 639] == 0).all()
    assert not shown.undefined[:, 639].any()


def test_a_register_that_takes_unfinished_words_shows_anything(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=200e-9, output="register"))
    assert play(board, noise(board)).undefined.all()


def test_delays_of_a_map_reach_the_tiles(make_board, memory) -> None:
    """At 3.15 MHz a count is 317.8 ns; a change of the map's address takes 200 ns there and 100 ns in the tiles."""
    board = make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=DATA, part="27C256", access=100e-9),
        memory("map", address=["x3-x6", "y3-y8"], data=[], part="28C16", access=200e-9),
        clock="3146875",
    )
    undefined = play(board, noise(board)).undefined[0].reshape(80, 8)  # eight monitor pixels of 39.7 ns to a count
    at_map_change, within_a_tile = undefined[8], undefined[9]
    assert at_map_change.astype(int).tolist() == [1] * 8  # 300 ns: up to the middle of the eighth pixel
    assert within_a_tile.astype(int).tolist() == [1, 1, 1, 0, 0, 0, 0, 0]


def test_registers_in_a_row_add_up(make_board, memory) -> None:
    board = make_board(
        memory("colour", address=["index0-index3"], data=DATA, part="2716", output="register"),
        memory(
            "picture",
            address=["x2-x9", "y2-y8"],
            data=["index0-index3"],
            part="27C256",
            packing=Packing(pixels=2),
            output="register",
        ),
    )
    words = noise(board)
    # the shift register sends a pixel of two counts each; its word of four counts and the look-up's two add up
    assert np.array_equal(play(board, words).codes[:, 6:], scanned(board, words)[:, :-6])


@pytest.mark.parametrize("bank", [0, 3])
def test_banks(board, bank: int) -> None:
    words = {"picture": np.repeat(np.arange(4, dtype=np.uint32), 32_768)}
    assert (play(board, words, bank).codes == bank).all()


def test_only_words_that_differ_disturb_the_picture(make_board, memory) -> None:
    board = make_board(
        memory(address=["x1-x7", "y3-y9"], data=DATA, access=90e-9), mode="1024x768@60", clock="16250000"
    )
    words = np.zeros(131_072, dtype=np.uint32)
    words[5] = 63  # the sixth pixel of the first row is white: monitor pixels 40 to 47
    assert play(board, {"picture": words}).undefined[0, :6].all()
    marked = disturbed(board, {"picture": words})
    assert np.flatnonzero(marked[0]).tolist() == [*range(40, 46), *range(48, 54)]
    assert not marked[8:].any()


def test_a_late_register_disturbs_for_the_whole_hold(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=200e-9, output="register"))
    words = np.zeros(131_072, dtype=np.uint32)
    words[5] = 63
    assert np.flatnonzero(disturbed(board, {"picture": words})[0]).tolist() == list(range(24, 32))


def test_undefined_times_of_a_direct_output(make_board, memory) -> None:
    """120 ns in each pixel of four counts, 39.72 ns each: three counts and 0.8 ns of the fourth."""
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=120e-9))
    times = undefined_times(board, noise(board), lines=np.array([0, 7]))
    count = 1 / 25.175e6
    assert times.shape == (2, 640)
    assert times[0, :8] == pytest.approx([count, count, count, 120e-9 - 3 * count] * 2)
    assert times.sum() / 320 == pytest.approx(120e-9)


def test_undefined_times_through_a_map(make_board, memory) -> None:
    """The first of eight words waits for the map: 70 and 55 ns; the others have 55 ns of their own."""
    board = make_board(
        memory("map", address=["x5-x9", "y5-y8"], data=["t0-t5"], access=70e-9, part="28C64"),
        memory("tiles", address=["x2-x4", "y2-y4", "t0-t5"], data=DATA, access=55e-9, part="39SF010A"),
    )
    pixels = undefined_times(board, noise(board), lines=np.array([0]))[0].reshape(160, 4).sum(axis=1)
    assert pixels[:9] == pytest.approx([125e-9, *[55e-9] * 7, 125e-9])


def test_undefined_times_behind_a_register(make_board, memory) -> None:
    """A register shows nothing undefined, unless it takes words that are not valid yet."""
    quick = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=120e-9, output="register"))
    assert (undefined_times(quick, noise(quick), lines=np.array([0])) == 0).all()
    late = make_board(memory(address=["x2-x9", "y2-y8"], data=DATA, access=200e-9, output="register"))
    assert undefined_times(late, noise(late), lines=np.array([0])) == pytest.approx(1 / 25.175e6)
