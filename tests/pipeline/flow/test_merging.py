"""Contents of several stages in one memory."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ladderlight import ArrangementError, Contents, MemoryContents, Origin, PlacedPicture
from ladderlight.flow.merging import carry_timing, darken, merge


def part_of(board, places, *, mask=0x3F, pictures=()):
    memory = board.memory("picture")
    words = np.full(memory.words, memory.fill_word, dtype=np.uint32)
    written = np.zeros(memory.words, dtype=np.uint32)
    for address, word in places.items():
        words[address] = words[address] & ~np.uint32(mask) | np.uint32(word)
        written[address] = mask
    return Contents(memories={"picture": MemoryContents(words=words, written=written)}, pictures=pictures)


def test_bits_that_do_not_collide_are_joined(board):
    merged = merge([part_of(board, {5: 0x03}, mask=0x0F), part_of(board, {5: 0x20, 6: 0x10}, mask=0x30)], board)
    memory = merged.memories["picture"]
    assert memory.words[5] == 0x03 | 0x20 | 0xC0
    assert memory.written[5] == 0x3F
    assert memory.words[6] == 0x10 | 0xCF
    assert memory.words[7] == 0xFF
    assert memory.written[7] == 0


def test_the_same_bits_twice_are_no_collision(board):
    one = part_of(board, {5: 0x15})
    assert merge([one, one], board).memories["picture"].words[5] == 0x15 | 0xC0


def test_a_collision_names_memory_address_stages_and_pictures(board):
    a = PlacedPicture(origin=Origin(name="a", source="a.png"), bank=0)
    with pytest.raises(ArrangementError) as caught:
        merge(
            [part_of(board, {1: 0}), part_of(board, {0x102: 1}, pictures=(a,)), part_of(board, {0x102: 2})],
            board,
            stages=["x", "bank_pictures", "raw"],
        )
    assert str(caught.value) == (
        "memory 'picture', address 0102h: arrangement stage 'bank_pictures' (picture 'a' in bank 0) and 'raw' need "
        "different words there; give them different banks or addresses"
    )


def test_without_names_the_stages_are_numbered(board):
    with pytest.raises(ArrangementError, match="stage number 1 and number 2 need different words"):
        merge([part_of(board, {9: 0}), part_of(board, {9: 1})], board)


def test_words_of_one_stage_alone_are_taken_in_the_memory_s_type(board):
    wide = part_of(board, {5: 0x15}).memories["picture"]
    own = MemoryContents(words=wide.words.astype(np.uint8), written=wide.written.astype(np.uint8))
    assert merge([Contents(memories={"picture": own})], board).memories["picture"] is own
    assert merge([Contents(memories={"picture": wide})], board).memories["picture"].words.dtype == np.uint8


def test_bits_that_one_stage_alone_changes_but_does_not_write_get_the_fill(board):
    own = part_of(board, {5: 0x15}).memories["picture"]
    words = own.words.astype(np.uint8)
    words[5], words[9] = 0x15, 0x12
    given = MemoryContents(words=words, written=own.written.astype(np.uint8))
    merged = merge([Contents(memories={"picture": given})], board).memories["picture"].words
    assert (merged[5], merged[9]) == (0x15 | 0xC0, 0xFF)


def test_a_memory_that_no_stage_writes_holds_its_fill(board):
    memory = merge([Contents(memories={})], board).memories["picture"]
    assert np.all(memory.words == 0xFF)
    assert not memory.written.any()


def test_pictures_keep_their_order(board):
    placed = [PlacedPicture(origin=Origin(name=name, source=name), bank=0) for name in "ab"]
    merged = merge([part_of(board, {}, pictures=(placed[0],)), part_of(board, {}, pictures=(placed[1],))], board)
    assert [picture.origin.name for picture in merged.pictures] == ["a", "b"]


def test_contents_of_another_size_or_width_are_refused(board):
    short = Contents(memories={"picture": MemoryContents(words=np.zeros(4, np.uint32), written=np.zeros(4, np.uint32))})
    with pytest.raises(ArrangementError, match=r"returned words of shape .4,. for memory 'picture'"):
        merge([short], board)
    with pytest.raises(ArrangementError, match="wider than its 8 bits"):
        merge([part_of(board, {0: 0x100}, mask=0x1FF)], board)


def test_blanking_is_filled_with_black_in_the_banks_in_use(make_board, memory):
    board = make_board(memory(address=["x2-x9", "y2-y9", "bank0"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C020"))
    placed = PlacedPicture(origin=Origin(name="a", source="a.png"), bank=1)
    contents = part_of(board, {0x10000: 0x3F}, pictures=(placed,))
    words = darken(contents, board).memories["picture"].words
    assert words[0x10000] == 0xFF  # the picture
    assert words[0x10000 + 160] == 0xC0  # count 640, beside it
    assert words[160] == 0xFF  # a bank that is not in use
    assert darken(contents, replace(board, blanking="gate")) is contents


def timed_board(make_board, memory, bank_lines):
    """A word for each count of 100 and each 16 lines: blanking beside the colours, in every bank."""
    timing = memory(address=["x0-x6", "y4-y9", *bank_lines], data=["b0-b1", "g0-g1", "r0-r1", "!blank"], part="27C512")
    return make_board(timing, clock=str(25175000 // 8))


def test_timing_lines_have_their_levels_in_every_bank_and_leave_other_bits_alone(make_board, memory):
    board = timed_board(make_board, memory, ["bank0", "!bank1"])
    contents = carry_timing(merge([part_of(board, {3: 0x15})], board), board)
    words, written = contents.memories["picture"].words, contents.memories["picture"].written
    assert (words[3], written[3]) == (0x15 | 0x40 | 0x80, 0x7F)
    for bank in range(4):
        for x, group in ((0, 0), (79, 29), (80, 0), (99, 29), (0, 30), (99, 32)):
            at = x | group << 7 | (bank ^ 2) << 13
            assert (int(words[at]) >> 6 & 1) == (x < 80 and group < 30)
            assert written[at] & 0x40
    assert written[100] == 0  # no count reads 100


def test_a_stage_that_writes_other_levels_into_timing_lines_is_refused(make_board, memory):
    board = timed_board(make_board, memory, [])
    with pytest.raises(ArrangementError) as caught:
        carry_timing(merge([part_of(board, {80: 0x40}, mask=0xFF)], board), board)
    assert str(caught.value) == (
        "memory 'picture', address 0050h: an arrangement stage has written D6, which carries timing line '!blank', "
        "otherwise; leave this memory to the board"
    )


def test_a_board_without_timing_lines_keeps_its_contents(board):
    contents = merge([part_of(board, {5: 0x15})], board)
    assert carry_timing(contents, board).memories["picture"] is contents.memories["picture"]
