from __future__ import annotations

import numpy as np
import pytest

from ladderlight.board import Board, Conflict, Packing, Placement
from ladderlight.board.scanning.scan import scan

RGB64_DATA = ["b0-b1", "g0-g1", "r0-r1"]


def noise(board: Board, seed: int = 0) -> np.ndarray:
    generator = np.random.default_rng(seed)
    size = (board.geometry.height, board.geometry.width)
    return generator.integers(0, len(board.palette), size).astype(np.uint16)


def seen(board: Board, placement: Placement, bank: int = 0) -> np.ndarray:
    words = {name: words for name, (words, _) in placement.words().items()}
    return scan(board, words, board.x_grid.samples[None, :], board.y_grid.samples[:, None], bank).codes


def test_a_code_stands_where_the_scan_reads_it(board: Board) -> None:
    codes = np.zeros((120, 160), dtype=np.uint16)
    codes[2, 5] = 0x2A
    placement = Placement(board=board)
    placement.put_codes(codes, bank=1, picture="dot")
    words, written = placement.words()["picture"]
    assert words[1 << 15 | 2 * 256 + 5] == 0x2A | 0xC0  # the two pins that drive nothing keep the fill
    assert written[1 << 15 | 2 * 256 + 5] == 0x3F
    assert (written != 0).sum() == 120 * 160
    assert (words[written == 0] == 0xFF).all()


def test_banks_do_not_touch_each_other(board: Board) -> None:
    placement = Placement(board=board)
    pictures = [noise(board, bank) for bank in range(4)]
    for bank, picture in enumerate(pictures):
        placement.put_codes(picture, bank=bank, picture=f"p{bank}")
    for bank, picture in enumerate(pictures):
        assert (seen(board, placement, bank) == picture).all()


def test_a_missing_bit_is_a_conflict_that_names_both_places(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x8", "y2-y8"], data=RGB64_DATA))  # x9 is missing
    codes = np.zeros((120, 160), dtype=np.uint16)
    codes[7, 3 + 128] = 1
    with pytest.raises(Conflict) as caught:
        Placement(board=board).put_codes(codes, bank=0, picture="pier")
    conflict = caught.value
    assert (conflict.memory, conflict.address) == ("picture", 7 * 128 + 3)
    places = {(place.picture, place.bank, place.x, place.y) for place in (conflict.first, conflict.second)}
    assert places == {("pier", 0, 3, 7), ("pier", 0, 131, 7)}
    assert "0383h" in str(conflict)
    assert "'pier' at pixel (131, 7) of bank 0" in str(conflict)


def test_equal_words_at_one_address_are_no_conflict(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x8", "y2-y8"], data=RGB64_DATA))
    codes = np.tile(np.arange(128, dtype=np.uint16) % 64, (120, 2))[:, :160]
    placement = Placement(board=board)
    placement.put_codes(codes, bank=0, picture="tiled")
    assert (seen(board, placement) == codes).all()


def test_two_pictures_in_one_bank_conflict_and_both_are_named(board: Board) -> None:
    placement = Placement(board=board)
    placement.put_codes(np.zeros((120, 160), dtype=np.uint16), bank=2, picture="day")
    with pytest.raises(Conflict) as caught:
        placement.put_codes(np.ones((120, 160), dtype=np.uint16), bank=2, picture="night")
    assert {caught.value.first.picture, caught.value.second.picture} == {"day", "night"}
    assert (caught.value.first.x, caught.value.first.y) == (caught.value.second.x, caught.value.second.y)


@pytest.mark.parametrize("pixels", [2, 4, 8])
@pytest.mark.parametrize("order", ["msb_first", "lsb_first"])
def test_packed_pixels_share_words(make_board, memory, ladder, pixels: int, order: str) -> None:
    bits = 8 // pixels
    low = 2 + pixels.bit_length() - 1
    board = make_board(
        memory(
            address=[f"x{low}-x9", "y2-y8"],
            data=[f"v0-v{bits - 1}" if bits > 1 else "v0"],
            part="27C256",
            packing=Packing(pixels=pixels, order=order),
        ),
        ladder=ladder(grey={f"v{bit}": 600.0 / 2**bit for bit in range(bits)}),
    )
    assert board.geometry.width == 160
    placement = Placement(board=board)
    codes = noise(board)
    placement.put_codes(codes, bank=0, picture="packed")
    assert (seen(board, placement) == codes).all()
    words, written = placement.words()["picture"]
    first = sum(
        int(code) << (bits * (pixels - 1 - at if order == "msb_first" else at))
        for at, code in enumerate(codes[0, :pixels])
    )
    assert words[0] == first
    assert written[0] == 0xFF


def test_planes_and_chips_and_wide_words(make_board, memory) -> None:
    board = make_board(
        memory("low", address=["x1-x9", "y1-y8"], data=["-", "b0", "-", "g0", "r0"], part="27C512", chips=2),
        memory("high", address=["y1-y8", "!x1-x9"], data=["b1", "g1", "r1"], part="27C4002"),
    )
    placement = Placement(board=board)
    codes = noise(board)
    placement.put_codes(codes, bank=0, picture="planes")
    assert (seen(board, placement) == codes).all()
    words, written = placement.words()["low"]
    assert len(words) == 131_072
    assert set(np.unique(written)) == {0, 0b11010}
    assert placement.words()["high"][0].max() == 0xFFFF


def test_the_fill_stands_where_nothing_reads(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=RGB64_DATA, part="27C512", fill=0x40))
    placement = Placement(board=board)
    placement.put_codes(np.zeros((120, 160), dtype=np.uint16), bank=0, picture="black")
    words, written = placement.words()["picture"]
    assert set(np.unique(words[written == 0])) == {0x40}


def test_a_memory_addressed_by_another_is_not_a_picture(make_board, memory) -> None:
    board = make_board(
        memory("tile", address=["x0-x2", "y0-y2", "map.d0-map.d7"], data=RGB64_DATA, part="27C256"),
        memory("map", address=["x3-x9", "y3-y8"], data=[], part="28C64"),
    )
    with pytest.raises(NotImplementedError, match="tile"):
        Placement(board=board).put_codes(np.zeros((480, 640), dtype=np.uint16), bank=0, picture="p")
