import numpy as np
import pytest

from ladderlight.flow.pictures import Span
from ladderlight.readback.diagnosis.faults import fixed
from ladderlight.readback.diagnosis.weighing import possible_faults
from ladderlight.readback.dumps import Reading
from ladderlight.readback.sections import Section, image_of


def whole(board, words, at=0):
    """A device that was read at once."""
    device = board.devices[at]
    read = (Section(device=device, span=Span()),)
    return Reading(device=device, image=image_of(words, device), read=read)


@pytest.fixture
def tiny(make_board, memory):
    """Eight words of four bits: pictures so small that every fault can be written down by hand."""
    from ladderlight.board import Part

    part = Part(number="tiny", words=8, width=4)
    return make_board(memory(address=["x8-x9", "bank0"], data=["b0-b1", "g0-g1"], part=part), check=False)


WANTED = [0x1, 0x2, 0x4, 0x8, 0x3, 0x5, 0x6, 0xF]


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("the chip is blank", "blank", [0xF] * 8),
        (
            "every word reads as zero: it was never enabled or powered while it was read, or all its bits are cleared",
            "all_zero",
            [0] * 8,
        ),
        ("all data lines are inverted", "data_inverted", [0xE, 0xD, 0xB, 7, 0xC, 0xA, 9, 0]),
        ("the data lines are in reverse order", "data_reversed", [8, 4, 2, 1, 0xC, 0xA, 6, 0xF]),
        ("data line D0 (b0) stuck low", "data_stuck", [0, 2, 4, 8, 2, 4, 6, 0xE]),
        ("data line D3 (g1) stuck high", "data_stuck", [9, 0xA, 0xC, 8, 0xB, 0xD, 0xE, 0xF]),
        ("data line D1 (b1) inverted", "data_inverted", [3, 0, 6, 0xA, 1, 7, 4, 0xD]),
        ("data lines D1 (b1) and D2 (g0) bridged, and low wins", "data_bridged", [1, 0, 0, 8, 1, 1, 6, 0xF]),
        ("data lines D1 (b1) and D2 (g0) bridged, and high wins", "data_bridged", [1, 6, 6, 8, 7, 7, 6, 0xF]),
        ("data lines D0 (b0) and D2 (g0) exchanged", "data_swapped", [4, 2, 1, 8, 6, 5, 3, 0xF]),
        ("address line A0 (x8) stuck low", "address_stuck", [1, 1, 4, 4, 3, 3, 6, 6]),
        ("address line A2 (bank0) stuck high", "address_stuck", [3, 5, 6, 0xF, 3, 5, 6, 0xF]),
        ("address line A1 (x9) inverted", "address_inverted", [4, 8, 1, 2, 6, 0xF, 3, 5]),
        ("address lines A0 (x8) and A2 (bank0) exchanged", "address_swapped", [1, 3, 4, 6, 2, 5, 8, 0xF]),
        ("address lines A1 (x9) and A2 (bank0) bridged, and low wins", "address_bridged", [1, 2, 1, 2, 1, 2, 6, 0xF]),
        (
            "address lines A1 (x9) and A2 (bank0) bridged, and high wins",
            "address_bridged",
            [1, 2, 6, 0xF, 6, 0xF, 6, 0xF],
        ),
        (
            "address line A0 (x8) stuck or open while burning, so that two words each were burned over each other",
            "address_stuck",
            [0, 0, 0, 0, 1, 1, 6, 6],
        ),
        (
            "address line A2 (bank0) stuck high while burning, and not now",
            "address_stuck",
            [0xF, 0xF, 0xF, 0xF, 1, 0, 4, 8],
        ),
    ],
)
def test_what_each_fault_makes_of_the_words(tiny, text, kind, words):
    wanted = np.array(WANTED, dtype=np.uint32)
    faults = {fault.text: fault for fault in possible_faults(tiny, wanted, whole(tiny, wanted))}
    assert faults[text].kind == kind
    assert faults[text].words(np.arange(8)).tolist() == words
    assert faults[text].words(np.array([[7, 0]])).tolist() == [[words[7], words[0]]]


def test_a_chip_is_erased_from_or_up_to_an_address(tiny):
    wanted = np.array(WANTED, dtype=np.uint32)
    for blank, where in ((slice(5, None), "from 0005h to the end"), (slice(0, 3), "below 0003h")):
        found = wanted.copy()
        found[blank] = 0xF
        faults = [f for f in possible_faults(tiny, wanted, whole(tiny, found)) if f.kind == "unfinished"]
        assert [fault.text for fault in faults] == [
            f"erased {where}: programming stopped early, or the wrong part was selected"
        ]
        assert faults[0].words(np.arange(8)).tolist() == found.tolist()


def test_banks_in_another_order_are_found_in_what_was_read(tiny):
    wanted = np.array(WANTED, dtype=np.uint32)
    found = np.concatenate([wanted[4:], wanted[:4]])
    fault, *_ = possible_faults(tiny, wanted, whole(tiny, found))
    assert (fault.kind, fault.text) == ("bank_order", "the banks are in the wrong order: bank 0 holds 1, 1 holds 0")
    assert fault.words(np.arange(8)).tolist() == found.tolist()


def test_banks_are_named_by_number_whatever_their_line(make_board, memory):
    from ladderlight.board import Part

    part = Part(number="tiny", words=8, width=4)
    board = make_board(memory(address=["x8-x9", "bank3"], data=["b0-b1", "g0-g1"], part=part), check=False)
    wanted = np.array(WANTED, dtype=np.uint32)
    found = np.concatenate([wanted[4:], wanted[:4]])
    (fault,) = [f for f in possible_faults(board, wanted, whole(board, found)) if f.kind == "bank_order"]
    assert fault.text == "the banks are in the wrong order: bank 0 holds 1, 1 holds 0"


def test_a_bank_in_the_place_of_another_and_the_rest_erased(tiny):
    wanted = np.array(WANTED, dtype=np.uint32)
    found = np.concatenate([wanted[4:], np.full(4, 0xF, dtype=np.uint32)])
    fault, *_ = possible_faults(tiny, wanted, whole(tiny, found))
    assert fault.text == "the banks are in the wrong order: bank 0 holds 1, 1 is erased"
    assert fault.words(np.arange(8)).tolist() == found.tolist()


def test_a_bank_that_is_erased_is_not_called_out_of_order(tiny):
    wanted = np.array(WANTED, dtype=np.uint32)
    found = np.concatenate([wanted[:4], np.full(4, 0xF, dtype=np.uint32)])
    (fault,) = [f for f in possible_faults(tiny, wanted, whole(tiny, found)) if f.kind == "bank_order"]
    assert fault.text == "bank 1 is erased"
    assert fault.words(np.arange(8)).tolist() == found.tolist()


def test_one_bank_twice_is_rather_a_stuck_line(tiny):
    wanted = np.array(WANTED, dtype=np.uint32)
    found = np.concatenate([wanted[4:], wanted[4:]])
    fits = [f for f in possible_faults(tiny, wanted, whole(tiny, found)) if (f.words(np.arange(8)) == found).all()]
    assert [fault.kind for fault in fits] == ["address_stuck", "part_size", "bank_order"]


@pytest.mark.parametrize("distance", [1, 37, -5])
def test_the_distance_of_a_shift_is_found_in_what_was_read(board, banked, distance):
    wanted = banked(board, (0, 1)).memories["picture"].words
    found = np.roll(wanted, distance)
    faults = [f for f in possible_faults(board, wanted, whole(board, found)) if f.kind == "shifted"]
    assert f"data shifted {'up' if distance > 0 else 'down'} by {abs(distance)} byte" in faults[0].text
    assert ("up" if distance > 0 else "down") in faults[0].text
    assert (faults[0].words(np.arange(131072)) == found).all()
    edge = 0 if distance > 0 else -1
    assert [int(fault.words(np.arange(131072))[edge]) for fault in faults[1:3]] == [0xFF, 0x00]


def test_a_shift_by_an_odd_byte_in_wide_words(make_board, memory, banked):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C1024"))
    wanted = banked(board, (0,)).memories["picture"].words
    image = np.roll(wanted.astype("<u2").view(np.uint8), 3)
    found = image.view("<u2").astype(np.uint32)
    faults = [f for f in possible_faults(board, wanted, whole(board, found)) if f.kind == "shifted"]
    assert any((fault.words(np.arange(65536)) == found).all() for fault in faults)


def test_known_contents_come_before_every_fault(tiny):
    wanted = np.array(WANTED, dtype=np.uint32)
    known = fixed("earlier_burn", "the previous build", wanted[::-1].copy())
    first, second, *_ = possible_faults(tiny, wanted, whole(tiny, wanted), [known])
    assert (first, second.kind) == (known, "blank")
    assert first.words(np.arange(8)).tolist() == WANTED[::-1]
