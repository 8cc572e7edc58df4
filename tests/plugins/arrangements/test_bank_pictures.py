"""Pictures in banks: what is read back through the scan is what was put in, and what does not fit is said clearly."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight import ArrangementError, CodedPicture, Origin
from ladderlight.board import PARTS, Part
from ladderlight.board.scanning.scan import scan
from ladderlight_stages.arrangements.bank_pictures import bank_pictures


def coded(board, name="a", *, bank=None, seed=0, codes=None):
    if codes is None:
        shape = (board.geometry.height, board.geometry.width)
        codes = np.random.default_rng(seed).integers(0, len(board.palette), shape).astype(np.uint16)
    return CodedPicture(origin=Origin(name=name, source=f"{name}.png", bank=bank), codes=codes)


def shown(board, contents, bank=0):
    """What the scan puts on the ladders at each picture pixel."""
    words = {name: memory.words for name, memory in contents.memories.items()}
    return scan(board, words, board.x_grid.samples[None, :], board.y_grid.samples[:, None], bank).codes


def banks(contents):
    return {placed.origin.name: placed.bank for placed in contents.pictures}


def test_each_picture_is_read_back_from_its_bank(board):
    pictures = [coded(board, "a", seed=1), coded(board, "b", seed=2, bank=0), coded(board, "c", seed=3)]
    contents = bank_pictures(pictures, board)
    assert banks(contents) == {"a": 1, "b": 0, "c": 2}
    for picture in pictures:
        assert np.array_equal(shown(board, contents, banks(contents)[picture.origin.name]), picture.codes)


def test_words_stand_where_the_wiring_reads_them(board):
    # Hand-worked: x2-x9 are A0-A7, y2-y8 A8-A14, bank0-bank1 A15-A16; pixel (5, 3) of bank 2 is 10000h + 300h + 5.
    codes = np.zeros((120, 160), dtype=np.uint16)
    codes[3, 5] = 0o52
    contents = bank_pictures([coded(board, codes=codes, bank=2)], board)
    memory = contents.memories["picture"]
    assert memory.words[0x10305] == 0o52 | 0xC0  # pins 6 and 7 drive nothing and keep the fill
    assert memory.words[0x10304] == 0xC0
    assert memory.written[0x10305] == 0x3F
    assert memory.words[0x00305] == 0xFF
    assert memory.written[0x00305] == 0
    assert int(np.count_nonzero(memory.written)) == 160 * 120


@pytest.mark.parametrize(
    "address",
    [
        ["y2-y8", "x2-x9", "bank0-bank1"],
        ["bank1", "x9-x2", "low", "y8-y2", "bank0"],
        ["x2", "y2", "x3", "y3", "!x4", "y4", "x5-x9", "!y5", "y6-y8", "bank1", "bank0"],
    ],
)
def test_any_order_of_address_lines(make_board, memory, address):
    board = make_board(memory(address=address, data=["r1", "-", "g0", "b0", "r0", "g1", "b1"], part="27C020"))
    pictures = [coded(board, name, seed=seed) for seed, name in enumerate("abcd")]
    contents = bank_pictures(pictures, board)
    for bank, picture in enumerate(pictures):
        assert np.array_equal(shown(board, contents, bank), picture.codes)


def test_planes_in_chips_side_by_side_with_packed_words(make_board, memory, ladder, packing):
    grey = ladder(grey={"g1": 715.0, "g0": 1330.0})
    board = make_board(
        memory("even", address=["x3-x9", "y1-y8"], data=["g0"], part="27C256", packing=packing(pixels=8)),
        memory(
            "odd",
            address=["x3-x9", "y1-y8"],
            data=["g1"],
            part="2764",
            chips=4,
            packing=packing(pixels=8, order="lsb_first"),
        ),
        ladder=grey,
    )
    assert (board.geometry.width, board.geometry.height) == (640, 240)
    picture = coded(board)
    contents = bank_pictures([picture], board)
    assert np.array_equal(shown(board, contents), picture.codes)
    # Hand-worked: the first word of the even plane holds bit 0 of the first eight pixels, leftmost in D7.
    bits = picture.codes[0, :8] & 1
    assert contents.memories["even"].words[0] == int("".join(map(str, bits)), 2)
    bits = picture.codes[0, :8] >> 1
    assert contents.memories["odd"].words[0] == int("".join(map(str, bits[::-1])), 2)


def test_identical_pictures_share_a_bank_only_when_asked(board):
    same = [coded(board, name, seed=1) for name in "abcde"] + [coded(board, "f", seed=2)]
    contents = bank_pictures(same, board, share=True)
    assert banks(contents) == dict.fromkeys("abcde", 0) | {"f": 1}
    with pytest.raises(ArrangementError, match=r"6 banks are needed, but the wiring has 4; left over: 'e', 'f'"):
        bank_pictures(same, board)


def test_sharing_prefers_the_bank_that_one_of_them_asks_for(board):
    pictures = [coded(board, "a", seed=1), coded(board, "b", seed=1, bank=3), coded(board, "c", seed=1, bank=3)]
    assert banks(bank_pictures(pictures, board, share=True)) == {"a": 3, "b": 3, "c": 3}


def test_too_many_names_the_part_and_the_lines_that_would_do(board):
    with pytest.raises(ArrangementError) as caught:
        bank_pictures([coded(board, name) for name in "abcde"], board)
    assert str(caught.value) == (
        "5 banks are needed, but the wiring has 4; left over: 'e'; leave pictures out, deal them to "
        'trays with per_tray = "banks" in [pictures], none with a tray of its own, or add "bank2" to the '
        "address: memory 'picture': 27C020 has enough words"
    )
    assert PARTS["27C020"].words == 1 << 18  # 8 + 7 + 3 address lines


def test_too_many_finds_spare_address_lines(make_board, memory):
    board = make_board(memory(part="27C080", address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]))
    with pytest.raises(
        ArrangementError, match=r'add "bank0", "bank1" and "bank2" .*27C080 has the spare address lines'
    ):
        bank_pictures([coded(board, f"p{number}") for number in range(5)], board)


def test_one_bank_line_of_any_number_is_two_banks(make_board, memory):
    """x2-x9 are A0-A7, y2-y8 A8-A14, bank1 A15: its switch off is bank 0, on is bank 1."""
    board = make_board(memory(address=["x2-x9", "y2-y8", "bank1"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C512"))
    pictures = [coded(board, "a", seed=1), coded(board, "b", seed=2)]
    contents = bank_pictures(pictures, board)
    assert banks(contents) == {"a": 0, "b": 1}
    words = contents.memories["picture"].words
    for picture, base in zip(pictures, (0, 0x8000), strict=True):
        assert words[base + 0x305] & 0x3F == picture.codes[3, 5]
    with pytest.raises(ArrangementError, match="3 banks are needed, but the wiring has 2; left over: 'c'"):
        bank_pictures([*pictures, coded(board, "c", seed=3)], board)


def test_too_many_finds_a_tied_pin(make_board, memory):
    """13 lines and a pin tied low on the 14 pins of a 27128."""
    board = make_board(
        memory(part="27128", address=["x3-x9", "y3-y8", "low"], data=["b0-b1", "g0-g1", "r0-r1"]),
    )
    with pytest.raises(ArrangementError) as caught:
        bank_pictures([coded(board, name, codes=np.zeros((60, 80), np.uint16)) for name in "ab"], board)
    assert str(caught.value) == (
        "2 banks are needed, but the wiring has 1; left over: 'b'; leave pictures out, deal them to "
        'trays with per_tray = "banks" in [pictures], none with a tray of its own, or add "bank0" to the '
        'address: memory \'picture\': write "bank0" at A13 in place of "low"'
    )
    fitting = make_board(memory(part="27128", address=["x3-x9", "y3-y8", "bank0"], data=["b0-b1", "g0-g1", "r0-r1"]))
    assert banks(bank_pictures([coded(fitting, name, codes=np.zeros((60, 80), np.uint16)) for name in "ab"], fitting))


def test_too_many_counts_tied_pins_as_free_in_a_larger_part(make_board, memory):
    board = make_board(
        memory(part="27128", address=["x3-x9", "y3-y8", "high"], data=["b0-b1", "g0-g1", "r0-r1"]),
    )
    with pytest.raises(ArrangementError, match="memory 'picture': 27C256 has enough words"):  # 13 + 2 lines
        bank_pictures([coded(board, name, codes=np.zeros((60, 80), np.uint16)) for name in "abc"], board)


def test_too_many_for_every_part_asks_for_more_chips(make_board, memory):
    part = Part(number="big", words=1 << 20, width=8)
    board = make_board(memory(part=part, address=["x2-x9", "y2-y8", "bank0-bank4"], data=["b0-b1", "g0-g1", "r0-r1"]))
    with pytest.raises(ArrangementError, match=r'add "bank5" .*chips = 2 of big'):
        bank_pictures([coded(board, f"p{number}") for number in range(33)], board)


def test_the_same_bank_twice(board):
    pictures = [coded(board, "a", seed=1, bank=1), coded(board, "b", seed=2, bank=1)]
    for share in (False, True):
        with pytest.raises(ArrangementError, match="'a' and 'b' have the same bank, 1;"):
            bank_pictures(pictures, board, share=share)


def test_a_bank_that_does_not_exist(make_board, memory, board):
    with pytest.raises(ArrangementError, match="'a' is for bank 4, which does not exist; use 0 to 3"):
        bank_pictures([coded(board, bank=4)], board)
    gap = make_board(memory(address=["x2-x9", "y2-y8", "bank0", "bank2"], data=["b0-b1", "g0-g1", "r0-r1"]))
    with pytest.raises(ArrangementError, match="'a' is for bank 4, which does not exist; use 0 to 3"):
        bank_pictures([coded(gap, bank=4)], gap)
    assert banks(bank_pictures([coded(gap, name) for name in "abcd"], gap)) == {"a": 0, "b": 1, "c": 2, "d": 3}
    none = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]))
    with pytest.raises(ArrangementError, match='the board has no bank lines; leave the bank out, or add "bank0"'):
        bank_pictures([coded(none, bank=1)], none)


def test_wrong_sizes_and_codes_are_all_named(board):
    wrong = [
        coded(board, "small", codes=np.zeros((60, 80), dtype=np.uint16)),
        coded(board, "loud", codes=np.full((120, 160), 64, dtype=np.uint16)),
    ]
    with pytest.raises(ArrangementError) as caught:
        bank_pictures(wrong, board)
    small, loud = str(caught.value).splitlines()
    assert small.startswith("'small' is 80x60 pixels, but the wiring scans 160x120; put use = \"resize\"")
    assert loud.startswith("'loud' has code 64, but the ladders have codes 0 to 63")


def test_a_counter_bit_left_out_is_named(make_board, memory):
    board = make_board(memory(address=["x2-x8", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]))
    with pytest.raises(ArrangementError) as caught:
        bank_pictures([coded(board)], board)
    message = str(caught.value)
    assert message.startswith("memory 'picture', address ")
    assert message.endswith("add x9 to the address of memory 'picture', or show the same at both places")
    assert "\n" not in message


def test_a_line_left_out_is_fine_when_both_places_show_the_same(make_board, memory):
    board = make_board(memory(address=["x2-x8", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]))
    half = coded(board).codes[:, :128]
    picture = coded(board, codes=np.hstack([half, half[:, :32]]))
    assert np.array_equal(shown(board, bank_pictures([picture], board)), picture.codes)


def test_banks_that_one_plane_does_not_know_collide(make_board, memory, ladder):
    board = make_board(
        memory("fine", address=["x2-x9", "y2-y8", "bank0"], data=["g0"]),
        memory("coarse", address=["x2-x9", "y2-y8"], data=["g1"]),
        ladder=ladder(grey={"g1": 715.0, "g0": 1330.0}),
    )
    with pytest.raises(ArrangementError, match="add bank0 to the address of memory 'coarse'"):
        bank_pictures([coded(board, "a", seed=1), coded(board, "b", seed=2)], board)


def test_look_up_and_tile_boards_are_sent_to_their_stages(make_board, memory):
    look_up = make_board(
        memory("picture", address=["x2-x9", "y2-y8"], data=[]),
        memory("colours", address=["picture.d0-picture.d3"], data=["b0-b1", "g0-g1", "r0-r1"]),
    )
    with pytest.raises(ArrangementError, match=r"'colours' is addressed by memory 'picture'.*use lookup"):
        bank_pictures([coded(look_up)], look_up)
    tiled = make_board(
        memory("map", address=["x5-x9", "y5-y8"], data=[]),
        memory("tiles", address=["x2-x4", "y2-y4", "map.d0-map.d7"], data=["b0-b1", "g0-g1", "r0-r1"]),
    )
    with pytest.raises(ArrangementError, match=r"'tiles' is addressed by memory 'map'.*use tiles"):
        bank_pictures([coded(tiled)], tiled)


def test_match_takes_some_of_the_pictures(board):
    pictures = [coded(board, name, seed=seed) for seed, name in enumerate(["day", "night", "dawn"])]
    assert banks(bank_pictures(pictures, board, match="d*")) == {"day": 0, "dawn": 1}
    with pytest.raises(ArrangementError, match=r"no picture matches 'n\?'; use one of dawn, day, night"):
        bank_pictures(pictures, board, match="n?")
