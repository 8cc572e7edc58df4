from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ladderlight.board import Board, Counters, Placement
from ladderlight.board.scanning.blanking import darkness_of, fill_blanking, first_shown
from ladderlight.board.scanning.scan import scan

DATA = ["b0-b1", "g0-g1", "r0-r1"]


def blanked_codes(board: Board, words: dict[str, np.ndarray], bank: int = 0) -> np.ndarray:
    """Give the codes at all blanked counts of a frame, by a plain walk over the whole raster."""
    x, y = board.raster.x, board.raster.y
    column, line = np.meshgrid(np.arange(x.total), np.arange(y.total))
    blank = (column >= x.visible) | (line >= y.visible)
    counts = (board.counters.x_start + column[blank]) % 2**board.x_counter.bits
    lines = (board.counters.y_start + line[blank]) % 2**board.y_counter.bits
    return scan(board, words, counts, lines, bank).codes


@pytest.mark.parametrize("way", ["output-enable", "register", "gate"])
def test_boards_that_darken_themselves(board: Board, way: str) -> None:
    darkness = darkness_of(replace(board, blanking=way))
    assert darkness.volts == (0.0, 0.0, 0.0)
    assert darkness.dark is True
    assert not darkness.fillable


def test_low_outputs_above_ground_are_not_dark(board: Board) -> None:
    glowing = replace(board, ladder=replace(board.ladder, low_volts=0.4))
    gated = darkness_of(replace(glowing, blanking="gate"))
    assert gated.dark is False
    assert gated.volts is not None
    # 0.4 V behind 1330 and 715 ohm in parallel, into 75 ohm
    assert gated.volts[0] == pytest.approx(0.4 * 75 / (75 + 1330 * 715 / 2045))
    assert darkness_of(glowing).dark is False
    assert darkness_of(replace(glowing, blanking="output-enable")).dark is True


def test_words_that_picture_and_blanking_share_are_found(board: Board) -> None:
    """Lines 512 to 524 count y2-y8 from 0 again: the upper three and a quarter rows of the picture."""
    (shared,) = darkness_of(board).shared
    assert shared.memory == "picture"
    assert shared.words == 4 * 160
    assert shared.address == 0
    assert shared.visible == (0, 0)
    assert shared.blanking == (0, 512)
    assert not darkness_of(board).fillable


@pytest.mark.parametrize(("delay", "words", "column"), [(0, 120, 636), (2, 120, 638), (4, 0, None), (6, 120, 0)])
def test_a_picture_that_registers_delay_shows_at_an_edge_of_blanking(
    make_board, memory, delay: int, words: int, column: int | None
) -> None:
    """The last or the first column of 120 words stands at the monitor while it should be dark."""
    board = make_board(
        memory(address=["x2-x9", "y2-y9"], data=DATA, output="register"), counters=Counters(blanking_delay=delay)
    )
    darkness = darkness_of(board)
    assert darkness.fillable is (not words)
    assert [shared.words for shared in darkness.shared] == [words] * bool(words)
    for shared in darkness.shared:
        line = 1 if delay == 6 else 0  # before the first line it is found last
        assert shared.blanking == (column, line)
        assert shared.visible[0] == column // 4 * 4


@pytest.mark.parametrize(
    ("address", "blanking", "shown"),
    [
        (["x2-x9", "y2-y9"], "none", "black"),
        (["x2-x9", "y2-y9"], "output-enable", "fill"),
        (["x2-x8", "y2-y9"], "output-enable", "picture"),
        (["x2-x9", "y2-y9"], "register", "fill"),
    ],
)
def test_what_stands_at_the_left_edge_of_a_delayed_picture(make_board, memory, address, blanking, shown) -> None:
    """Counts 796 to 799 of 800 are read before the picture; without x9 they are 284 to 287 again."""
    board = make_board(memory(address=address, data=DATA, output="register"))
    assert first_shown(replace(board, blanking=blanking)) == shown


def test_a_missing_bit_shows_the_picture_beside_itself(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x8", "y2-y9"], data=DATA))
    (shared,) = darkness_of(board).shared
    assert shared.blanking == (640, 0)
    assert shared.visible == (128, 0)


def test_contents_are_filled_with_black_where_only_blanking_reads(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y9", "bank0"], data=DATA, part="27C020"))
    assert darkness_of(board).fillable
    placement = Placement(board=board)
    picture = np.full((120, 160), 63, dtype=np.uint16)
    placement.put_codes(picture, bank=0, picture="white")
    before = {name: words.copy() for name, (words, _) in placement.words().items()}
    assert set(np.unique(blanked_codes(board, before))) == {63}  # erased words are white
    filled = fill_blanking(board, placement.words(), [0])
    words = {name: words for name, (words, _) in filled.items()}
    assert set(np.unique(blanked_codes(board, words))) == {0}
    assert set(np.unique(blanked_codes(board, words, bank=1))) == {63}  # a bank not in use stays erased
    shown = scan(board, words, board.x_grid.samples[None, :], board.y_grid.samples[:, None], 0).codes
    assert np.array_equal(shown, picture)
    assert np.array_equal(placement.words()["picture"][0], before["picture"])  # what was given is not changed
    # 200 x 132 words are read (the four lines 524 to 527 share a row), 160 x 120 of them are the picture
    assert (filled["picture"][1] != 0).sum() == 200 * 132


def test_pins_that_drive_nothing_keep_the_fill(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y9"], data=DATA))
    filled = fill_blanking(board, Placement(board=board).words(), [0])
    words, written = filled["picture"]
    assert set(np.unique(words[written != 0])) == {0xC0}


def test_packed_words(make_board, memory, ladder) -> None:
    from ladderlight.board import Packing

    board = make_board(
        memory(address=["x3-x9", "y2-y9"], data=["v0-v1"], part="27C256", packing=Packing(pixels=4)),
        ladder=ladder(grey={"v0": 300.0, "v1": 150.0}),
    )
    words = {name: words for name, (words, _) in fill_blanking(board, Placement(board=board).words(), [0]).items()}
    assert set(np.unique(blanked_codes(board, words))) == {0}


def test_look_up_gets_a_black_entry(make_board, memory) -> None:
    board = make_board(
        memory("colour", address=["picture.d0-picture.d1"], data=DATA, part="2716"),
        memory("picture", address=["x2-x9", "y2-y9"], data=[]),
    )
    assert darkness_of(board).fillable
    for colours, black in (([21, 42], True), ([21, 42, 63], True), ([0, 21, 42, 63], True), ([1, 21, 42, 63], False)):
        placement = Placement(board=board)
        picture = np.random.default_rng(0).choice(np.array(colours, dtype=np.uint16), (120, 160))
        placement.put_codes(picture, bank=0, picture="p")
        words = {name: words for name, (words, _) in fill_blanking(board, placement.words(), [0]).items()}
        assert (set(np.unique(blanked_codes(board, words))) == {0}) is black
        shown = scan(board, words, board.x_grid.samples[None, :], board.y_grid.samples[:, None], 0).codes
        assert np.array_equal(shown, picture)


def test_tile_hardware_is_left_alone(make_board, memory) -> None:
    board = make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=DATA, part="27C256"),
        memory("map", address=["x3-x9", "y3-y9"], data=[], part="28C64", chips=2),
    )
    darkness = darkness_of(board)
    assert not darkness.known
    assert not darkness.fillable
    contents = Placement(board=board).words()
    assert fill_blanking(board, contents, [0]) is contents


def test_a_board_that_is_gated_keeps_its_contents(board: Board) -> None:
    contents = Placement(board=board).words()
    assert fill_blanking(replace(board, blanking="gate"), contents, [0]) is contents
