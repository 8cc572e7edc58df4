import numpy as np
import pytest

from ladderlight import Contents, MemoryContents
from ladderlight.board import Part
from ladderlight.devices.files import join_files
from ladderlight.stages.boundary import HooksOf
from ladderlight.stages.declaration import declaration_of
from ladderlight_stages.emissions.assembler import assembler


@pytest.mark.parametrize(
    ("options", "text"),
    [
        ({}, "    .byte 0x0A, 0xF0, 0xFF\n"),
        ({"directive": "DB", "number": "h", "per_line": 2}, "    DB 00Ah, 0F0h\n    DB 0FFh\n"),
        ({"directive": "!byte"}, "    !byte 0x0A, 0xF0, 0xFF\n"),
        ({"directive": "FCB", "number": "$", "label": "{device}"}, "picture:\n    FCB $0A, $F0, $FF\n"),
    ],
)
def test_bytes_in_the_words_of_an_assembler(make_board, memory, options, text):
    part = Part(number="spare", words=3, width=8)
    board = make_board(memory(address=["x2"], data=["b0-b1", "g0-g1", "r0-r1"], part=part), check=False)
    words = np.array([0x0A, 0xF0, 0xFF], dtype=np.uint32)
    (file,) = assembler(Contents(memories={"picture": MemoryContents(words=words, written=words)}), board, **options)
    assert file.data.decode() == text
    assert join_files([file], board.devices[0]).tolist() == [0x0A, 0xF0, 0xFF]


@pytest.mark.parametrize(("option", "value"), [("directive", "D B,"), ("directive", ""), ("label", "9 x")])
def test_words_that_no_assembler_takes_are_known_before_there_are_contents(board, option, value):
    (problem,) = HooksOf(declaration_of(assembler), board, {option: value}).problems()
    assert problem.where == (option,)
    assert repr(value) in problem.what
