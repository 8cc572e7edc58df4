"""Words as they are."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight import ArrangementError
from ladderlight.flow.merging import merge
from ladderlight_stages.arrangements.bank_pictures import bank_pictures
from ladderlight_stages.arrangements.raw import raw


def test_words_written_out(board):
    memory = raw([], board, memory="picture", words="00 3f\n1A", address=0x100, repeat=2).memories["picture"]
    assert list(memory.words[0xFF:0x107]) == [0xFF, 0, 0x3F, 0x1A, 0, 0x3F, 0x1A, 0xFF]
    assert list(memory.written[0xFF:0x107]) == [0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0]


@pytest.mark.parametrize(("order", "expected"), [("little", [0x0201, 0x0403]), ("big", [0x0102, 0x0304])])
def test_words_of_a_file(make_board, memory, order, expected):
    board = make_board(memory(part="27C1024", address=["x4-x9", "y3-y8"], data=["b0-b1", "g0-g1", "r0-r1"]))
    assert (
        list(raw([], board, memory="picture", file=b"\1\2\3\4", order=order).memories["picture"].words[:2]) == expected
    )


def test_beside_pictures_and_in_their_way(board, coded):
    pictures = bank_pictures([coded(board)], board)
    merged = merge([pictures, raw([], board, memory="picture", words="55", address=0x1FFFF)], board)
    assert merged.memories["picture"].words[0x1FFFF] == 0x55
    flags = raw([], board, memory="picture", words="40", address=0, bits=0xC0)  # pins that drive nothing
    joined = merge([pictures, flags], board).memories["picture"].words
    assert joined[0] == pictures.memories["picture"].words[0] & 0x3F | 0x40
    with pytest.raises(
        ArrangementError, match=r"address 0000h: arrangement stage 'bank_pictures' .picture 'a' in bank 0"
    ):
        other = int(pictures.memories["picture"].words[0]) ^ 1
        merge([pictures, raw([], board, memory="picture", words=f"{other:X}")], board, stages=["bank_pictures", "raw"])


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"memory": "pictures", "words": "0"}, "no memory is called 'pictures'; did you mean 'picture'"),
        ({"memory": "picture"}, "needs either file = .* or words = "),
        ({"memory": "picture", "words": "0", "file": b"0"}, "; write one of them"),
        ({"memory": "picture", "words": "xyz"}, "'xyz' is not hexadecimal"),
        ({"memory": "picture", "words": " "}, "words must be hexadecimal numbers"),
        ({"memory": "picture", "words": "100"}, "word 100h does not fit into the 8 bits of memory 'picture'"),
        ({"memory": "picture", "file": b""}, "the file is empty; choose a file of words"),
        ({"memory": "picture", "words": "0 0", "address": 0x1FFFF}, "address 20000h is beyond memory 'picture'"),
        ({"memory": "picture", "words": "0", "bits": 0x100}, "bits = 100h is wider than the 8 bits"),
    ],
)
def test_mistakes(board, options, message):
    with pytest.raises(ArrangementError, match=message):
        raw([], board, **options)


def test_words_of_a_narrow_memory_keep_their_width(make_board, memory):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]))
    assert raw([], board, memory="picture", file=bytes(range(4))).memories["picture"].words.dtype == np.uint8
