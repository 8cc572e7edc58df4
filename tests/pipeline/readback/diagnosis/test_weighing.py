"""Two independent faults in seeded dumps, each made here by arithmetic of its own."""

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


PLACES = np.arange(8192)


def stuck_data(words, random):
    bit, level = int(random.integers(6)), int(random.integers(2))
    name = f"D{bit} ({'bgr'[bit // 2]}{bit % 2})"
    return words & ~np.uint32(1 << bit) | np.uint32(level << bit), f"data line {name} stuck {('low', 'high')[level]}"


def stuck_address(words, random):
    bit, level = int(random.integers(4, 9)), int(random.integers(2))
    return words[PLACES & ~(1 << bit) | level << bit], f"stuck {('low', 'high')[level]}", f"A{bit} "


def exchanged_addresses(words, random):
    a, b = sorted(random.choice(np.arange(9), 2, replace=False).tolist())
    turned = PLACES & ~(1 << a | 1 << b) | (PLACES >> a & 1) << b | (PLACES >> b & 1) << a
    return words[turned], "exchanged", f"A{a} "


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("address", [stuck_address, exchanged_addresses])
def test_an_address_and_a_data_line(narrow, photographs, address, seed):
    random = np.random.default_rng(seed)
    board = narrow()
    wanted = photographs(board, random)
    changed, happened, name = address(wanted, random)
    found, data = stuck_data(changed, random)
    best = diagnose(board, {"picture": wanted}, whole(board, found))
    level = [diagnosis.text for diagnosis in best if diagnosis.confidence == best[0].confidence]
    assert best[0].kind == "two_faults"
    assert best[0].explained == 1
    assert any(data in text and name in text and happened in text for text in level), level


def test_two_data_lines(narrow, photographs):
    board = narrow()
    wanted = photographs(board, np.random.default_rng(1))
    found = wanted & ~np.uint32(1) | np.uint32(1 << 3)
    best, *_ = diagnose(board, {"picture": wanted}, whole(board, found))
    assert best.text == "two faults: data line D0 (b0) stuck low; and data line D3 (g1) stuck high"
    assert best.lines == ("D0 (b0)", "D3 (g1)")


def test_the_previous_build_through_a_bad_line(narrow, photographs):
    board = narrow()
    wanted, before = (photographs(board, np.random.default_rng(seed)) for seed in (1, 2))
    known = [fixed("earlier_burn", "the chip holds the previous build", before)]
    best, *_ = diagnose(board, {"picture": wanted}, whole(board, before & ~np.uint32(4)), known=known)
    assert best.text == "two faults: the chip holds the previous build; and data line D2 (g0) stuck low"


def test_one_fault_is_not_taken_for_two(narrow, photographs):
    board = narrow()
    wanted = photographs(board, np.random.default_rng(4))
    diagnoses = diagnose(board, {"picture": wanted}, whole(board, wanted[PLACES ^ 1 << 5]))
    assert {diagnosis.kind for diagnosis in diagnoses} == {"address_inverted"}


def test_noise_is_no_pair_of_faults(narrow, photographs):
    board = narrow()
    random = np.random.default_rng(5)
    wanted = photographs(board, random)
    found = random.integers(0, 256, 8192).astype(np.uint32)
    assert not diagnose(board, {"picture": wanted}, whole(board, found))
