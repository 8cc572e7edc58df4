from dataclasses import replace

import numpy as np

from ladderlight import PlacedPicture
from ladderlight.devices.occupancy import occupancies_of, runs
from ladderlight.flow.merging import carry_timing


def test_banks_ranges_and_what_is_left(board, banked):
    """160x120 with 8 + 7 address bits: the last word of a bank is 779Fh."""
    occupancy = occupancies_of(board, banked(board, (0, 2)))["picture"]
    assert occupancy.banks == (
        {"bank": 0, "pictures": ["picture-0"], "first": 0, "last": 0x779F, "used": 19200},
        {"bank": 2, "pictures": ["picture-2"], "first": 0x10000, "last": 0x1779F, "used": 19200},
    )
    assert (occupancy.used, occupancy.last_used) == (38400, 0x1779F)


def test_a_bank_line_of_a_high_number(make_board, memory, banked):
    board = make_board(memory(address=["x2-x9", "y2-y8", "bank2"], data=["b0-b1", "g0-g1", "r0-r1"]))
    occupancy = occupancies_of(board, banked(board, (1,)))["picture"]
    assert occupancy.banks == (
        {"bank": 1, "pictures": ["picture-1"], "first": 0x8000, "last": 0x8000 + 0x779F, "used": 19200},
    )


def test_each_chip_of_a_row_has_its_own_share(make_board, memory, banked):
    board = make_board(
        memory(address=["x2-x9", "y2-y8", "bank0"], data=["b0-b1", "g0-g1", "r0-r1"], part="27128", chips=4)
    )
    contents = banked(board, (1,))
    shares = list(occupancies_of(board, contents).values())
    assert [share.used for share in shares] == [0, 0, 64 * 160, 56 * 160]
    assert [share.last_used for share in shares] == [None, None, 63 << 8 | 159, 55 << 8 | 159]
    assert [[bank["bank"] for bank in share.banks] for share in shares] == [[], [], [1], [1]]


def test_a_memory_without_bank_lines_holds_its_part_of_all_pictures_at_one_place(make_board, memory, banked):
    """The red plane is shared by both banks: its pictures must be the same there."""
    board = make_board(
        memory("red", address=["x2-x9", "y2-y8"], data=["r0-r1"], part="27C256"),
        memory("others", address=["x2-x9", "y2-y8", "bank0"], data=["b0-b1", "g0-g1"], part="27C512"),
    )
    one = banked(board, (0,))
    origins = [replace(one.pictures[0].origin, name=name) for name in ("tern", "gull")]
    contents = replace(one, pictures=tuple(PlacedPicture(origin=o, bank=bank) for bank, o in enumerate(origins)))
    red, others = occupancies_of(board, contents).values()
    assert red.banks == ({"bank": 0, "pictures": ["tern", "gull"], "first": 0, "last": 0x779F, "used": 19200},)
    assert [(bank["bank"], bank["pictures"]) for bank in others.banks] == [(0, ["tern"]), (1, ["gull"])]


def test_a_memory_behind_another_has_no_banks(make_board, memory, random_contents):
    tiles = memory("tiles", address=["x2-x4", "map.d0-map.d7"], data=["b0-b1", "g0-g1", "r0-r1"], part="2716")
    board = make_board(memory("map", address=["x5-x9", "y5-y8"], data=["-"], part="2716"), tiles)
    occupancy = occupancies_of(board, random_contents(board))["tiles"]
    assert (occupancy.banks, occupancy.used) == ((), 2048)


def test_a_memory_of_timing_lines_alone_holds_no_bank(make_board, memory, banked):
    board = make_board(
        memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]),
        memory("frame", address=["y0-y9"], data=["vsync"], part="2716"),
    )
    occupancies = occupancies_of(board, carry_timing(banked(board, (0,)), board))
    assert (occupancies["frame"].banks, occupancies["frame"].used, occupancies["frame"].last_used) == ((), 525, 524)
    assert len(occupancies["picture"].banks) == 1


def test_runs_are_joined_across_gaps_and_of_nothing_there_is_none():
    numbers = np.array([0, 1, 4, 9])
    assert runs(numbers) == ((0, 1), (4, 4), (9, 9))
    assert runs(numbers, gap=3) == ((0, 4), (9, 9))
    assert runs(numbers, 64) == ((0, 127), (256, 319), (576, 639))
    assert runs(numbers[:0]) == ()
