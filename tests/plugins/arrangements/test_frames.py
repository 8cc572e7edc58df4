"""Animations in banks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ladderlight import ArrangementError
from ladderlight.stages.boundary import HooksOf
from ladderlight.stages.declaration import declaration_of
from ladderlight_stages.arrangements.frames import bank_shares, frames


@pytest.fixture
def film_board(make_board, memory):
    """Eight banks."""
    return make_board(
        memory(address=["x2-x9", "y2-y8", "bank0-bank2"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C020")
    )


def film(contents):
    return "".join(placed.origin.name for placed in sorted(contents.pictures, key=lambda placed: placed.bank))


@pytest.mark.parametrize(
    ("durations", "options", "expected"),
    [
        ((None,) * 4, {}, "aabbccdd"),
        ((None,) * 3, {}, "aaabbbcc"),
        ((0.2, 0.1, 0.1), {}, "aaaabbcc"),
        ((0.3, 0.1), {"step": 0.1, "fill": "repeat"}, "aaabaaab"),
        ((0.3, 0.1), {"step": 0.1, "fill": "hold"}, "aaabbbbb"),
        ((0.1, None, 0.3), {"step": 0.1, "fill": "hold"}, "abbccccc"),
        ((0.1, 0.1, 0.1), {"fill": "repeat"}, "abbcabcc"),
        ((None,) * 5, {"ping_pong": True}, "abcdedcb"),
        ((None,) * 3, {"ping_pong": True}, "aabbccbb"),
        ((None,) * 2, {"ping_pong": True}, "aaaabbbb"),
        ((5.0, 0.01), {}, "aaaaaaab"),
        ((None,), {}, "aaaaaaaa"),
    ],
)
def test_frames_share_the_banks(film_board, coded, durations, options, expected):
    pictures = [
        coded(film_board, name, seed=seed, duration=duration)
        for seed, (name, duration) in enumerate(zip("abcdefgh", durations, strict=False))
    ]
    contents = frames(pictures, film_board, **options)
    if options.get("fill") == "repeat" and len(durations) == 3:
        # Two rounds of three in eight banks: two frames are shown twice, one in each round or both in the first.
        assert film(contents).replace("aa", "a").replace("bb", "b").replace("cc", "c") == "abcabc"
        return
    assert film(contents) == expected


def test_what_is_shown_in_each_bank(film_board, coded, shown):
    pictures = [coded(film_board, name, seed=seed) for seed, name in enumerate("abc")]
    contents = frames(pictures, film_board)
    for bank, name in enumerate("aaabbbcc"):
        assert np.array_equal(shown(film_board, contents, bank), pictures["abc".index(name)].codes)


def test_some_of_the_banks(film_board, coded):
    pictures = [coded(film_board, name) for name in "ab"]
    contents = frames(pictures, film_board, first=4, count=3)
    assert [(placed.origin.name, placed.bank) for placed in contents.pictures] == [("a", 4), ("a", 5), ("b", 6)]


def test_times_are_noted(film_board, coded):
    pictures = [coded(film_board, name, duration=0.25) for name in "ab"]
    contents = frames(pictures, film_board, step=0.1)
    assert contents.notes == ("2 frames in 8 banks; all banks take 0.8 s, the durations of the frames add up to 0.5 s",)


@pytest.mark.parametrize(
    ("step", "said"),
    [
        (0.08, "step is 80 ms, 4.80 frames of the board, {}; use 66.73 ms or 83.42 ms"),
        (0.02, "step is 20 ms, 1.20 frames of the board, {}; use 16.68 ms or 33.37 ms"),
    ],
)
def test_a_step_between_two_frames_is_noted_with_the_nearest_possible(film_board, coded, step, said):
    """640x480@60 shows 59.94 frames a second: 25.175 MHz / (800 x 525), so one takes 16.683 ms."""
    notes = frames([coded(film_board, "a")], film_board, step=step).notes
    assert notes[-1] == said.format("which changes banks only between frames")


@pytest.mark.parametrize("step", [0.0167, 0.01668, 0.05, 0.1, 0.1333, 0.25, 1.0, None])
def test_steps_of_whole_frames_need_no_note(film_board, coded, step):
    assert not any("frames of the board" in n for n in frames([coded(film_board, "a")], film_board, step=step).notes)


@pytest.mark.parametrize("step", [0.001, 0.0164])
def test_a_step_shorter_than_a_frame_is_refused(film_board, coded, step):
    (problem,) = HooksOf(declaration_of(frames), film_board, {"step": step}).problems()
    assert problem.where == ("step",)
    assert str(problem) == (
        f"step is {step * 1e3:g} ms, less than the 16.68 ms of one frame of the board; use 16.68 ms or a multiple of it"
    )
    with pytest.raises(ArrangementError, match=r"less than the 16\.68 ms of one frame of the board"):
        frames([coded(film_board, "a")], film_board, step=step)


def test_too_many_frames(film_board, coded):
    pictures = [coded(film_board, f"f{number}") for number in range(6)]
    with pytest.raises(ArrangementError, match=r"10 banks are needed, but the wiring has 8; left over: 'f2', 'f1'"):
        frames(pictures, film_board, ping_pong=True)
    with pytest.raises(ArrangementError, match="the board has 8 banks, and none from 8 on"):
        frames(pictures, film_board, first=8)


def test_frames_of_a_tile_board_share_the_tiles(tile_board, coded, shown, mosaic):
    board = tile_board()
    pictures = [coded(board, name, codes=mosaic(board, tiles=30, seed=seed)) for seed, name in enumerate("ab")]
    contents = frames(pictures, board)
    for bank, picture in enumerate([pictures[0], pictures[0], pictures[1], pictures[1]]):
        assert np.array_equal(shown(board, contents, bank), picture.codes)
    assert len(contents.tile_sets[0].codes) == 30


@pytest.mark.parametrize("fill", ["stretch", "repeat", "hold"])
def test_shares_always_add_up(fill):
    random = np.random.default_rng(0)
    for _ in range(300):
        number = int(random.integers(1, 12))
        banks = number + int(random.integers(0, 40))
        durations = [None if random.random() < 0.2 else float(random.uniform(0.02, 2)) for _ in range(number)]
        step = None if random.random() < 0.5 else 0.1
        shares = bank_shares(durations, banks, step=step, fill=fill)
        assert sum(shares) == banks
        assert min(shares) >= 1
        assert len(shares) % number == 0


def test_origins_stay(film_board, coded):
    picture = coded(film_board, "a")
    contents = frames([picture], film_board)
    assert {replace(placed.origin, bank=None) for placed in contents.pictures} == {picture.origin}


def test_flicker_is_noted(film_board, coded):
    pictures = [coded(film_board, "a"), coded(film_board, "b")]
    pictures[1] = replace(pictures[1], codes=pictures[1].codes ^ 1)
    assert "flicker: 100.0% of the pixels change from frame to frame" in frames(pictures, film_board).notes[-1]


def test_too_few_banks_by_ones_own_choice_are_not_blamed_on_the_wiring(film_board, coded):
    pictures = [coded(film_board, name) for name in "abc"]
    with pytest.raises(ArrangementError, match=r'3 frames need as many banks, but "first" and "count" leave 2 of the'):
        frames(pictures, film_board, count=2)
