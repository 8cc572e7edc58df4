"""Seeded dumps of chips that were erased or programmed in part, badly, over other contents, or as another part."""

import numpy as np
import pytest

from ladderlight.flow.pictures import Span
from ladderlight.readback.diagnosis.faults import fixed
from ladderlight.readback.diagnosis.weighing import diagnose
from ladderlight.readback.dumps import Reading
from ladderlight.readback.sections import Section, image_of


def whole(board, words, at=0):
    """A device that was read at once."""
    device = board.devices[at]
    read = (Section(device=device, span=Span()),)
    return Reading(device=device, image=image_of(words, device), read=read)


@pytest.fixture
def words(narrow, photographs):
    board = narrow()
    return board, photographs(board, np.random.default_rng(11))


def likeliest(board, wanted, found, known=()):
    return diagnose(board, {"picture": wanted}, whole(board, found), known=known)


@pytest.mark.parametrize("seed", range(6))
def test_a_hole_is_named_with_its_ends(words, seed):
    board, wanted = words
    random = np.random.default_rng(seed)
    first = int(random.integers(1, 6000))
    last = first + int(random.integers(300, 1500))
    found = wanted.copy()
    found[first : last + 1] = 0xFF
    lost = np.flatnonzero(found != wanted)
    best = likeliest(board, wanted, found)[0]
    assert (best.kind, best.explained) == ("hole", 1)
    assert f"from {lost[0]:04X}h to {lost[-1]:04X}h" in best.text
    assert best.confidence > 0.9


@pytest.mark.parametrize(
    ("set_bits", "kind", "advice"),
    [
        (False, "badly_erased", "erase the chip again, then burn it"),
        (True, "weakly_programmed", "burn the chip again, without erasing it"),
    ],
)
@pytest.mark.parametrize("count", [5, 400])
def test_stray_bits_that_all_go_one_way(words, set_bits, kind, advice, count):
    board, wanted = words
    random = np.random.default_rng(count)
    bit = np.uint32(4)
    at = random.choice(np.flatnonzero(((wanted & bit) == 0) == set_bits), count, replace=False)
    found = wanted.copy()
    found[at] ^= bit
    best = likeliest(board, wanted, found)[0]
    assert best.kind == kind
    assert advice in best.text
    assert best.confidence > 0.7


def test_stray_bits_both_ways_are_neither(words):
    board, wanted = words
    random = np.random.default_rng(3)
    found = wanted.copy()
    found[random.choice(wanted.size, 60, replace=False)] ^= 0b100
    assert not {"badly_erased", "weakly_programmed"} & {d.kind for d in likeliest(board, wanted, found)}


def test_a_data_line_stuck_low_is_not_bad_erasure(words):
    board, wanted = words
    best, *others = likeliest(board, wanted, wanted & ~np.uint32(0b10))
    assert best.text == "data line D1 (b1) stuck low"
    assert not others


def test_a_chip_burned_over_the_previous_build(words, photographs):
    board, wanted = words
    before = photographs(board, np.random.default_rng(12))
    known = [fixed("earlier_burn", "the chip holds the previous build", before)]
    best, *_ = likeliest(board, wanted, wanted & before, known)
    assert best.kind == "burned_over"
    best, *_ = likeliest(board, wanted, before, known)
    assert best.kind == "earlier_burn"


@pytest.mark.parametrize("block", range(4))
def test_a_quarter_that_repeats_is_a_smaller_part(words, block):
    board, wanted = words
    best, *_ = likeliest(board, wanted, np.tile(wanted[block * 2048 : (block + 1) * 2048], 4))
    assert best.kind == "part_size"
    assert f"the data of {block * 2048:04X}h to {block * 2048 + 2047:04X}h repeats 4 times" in best.text
    assert best.text.endswith("select 28C64")
