from __future__ import annotations

from ladderlight.board.scanning.extent import extent_of


def test_rows_follow_each_other_at_the_stride(board) -> None:
    extent = extent_of(board, board.memory("picture"))
    assert extent is not None
    assert (extent.stride, extent.last, extent.used) == (256, 0x779F, 19_200)


def test_mixed_bits_have_no_stride(make_board, memory) -> None:
    board = make_board(memory(address=["y2", "x2-x9", "y3-y8"], data=["b0-b1", "g0-g1", "r0-r1"]))
    extent = extent_of(board, board.memory("picture"))
    assert extent is not None
    assert extent.stride is None


def test_an_inverted_row_counts_backwards(make_board, memory) -> None:
    board = make_board(memory(address=["x2-x9", "!y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]))
    extent = extent_of(board, board.memory("picture"))
    assert extent is not None
    assert extent.stride == -256
    assert extent.last == 127 * 256 + 159


def test_what_another_memory_addresses_has_no_extent(make_board, memory) -> None:
    board = make_board(
        memory("colours", address=["picture.d0-picture.d3"], data=["b0-b1", "g0-g1", "r0-r1"], part="2716"),
        memory("picture", address=["x2-x9", "y2-y8"], data=[]),
    )
    assert extent_of(board, board.memory("colours")) is None


def test_words_for_timing_lines_count_and_have_no_stride(make_board, memory) -> None:
    board = make_board(
        memory(address=["x2-x9", "y2-y9"], data=["b0-b1", "g0-g1", "r0-r1", "hsync"], part="27C512"),
        memory("frame", address=["y0-y9"], data=["vsync"], part="2716"),
    )
    both, alone = (extent_of(board, board.memory(name)) for name in ("picture", "frame"))
    assert both is not None and alone is not None
    # 800 counts and 525 lines by fours; the last line group is 131.
    assert (both.stride, both.last, both.used) == (256, 131 * 256 + 199, 132 * 200)
    assert (alone.stride, alone.last, alone.used) == (None, 524, 525)
