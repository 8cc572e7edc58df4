import pytest

from ladderlight import DeviceFileError
from ladderlight.board import Part
from ladderlight.devices.files import join_files
from ladderlight.stages.boundary import HooksOf
from ladderlight.stages.declaration import declaration_of
from ladderlight_stages.emissions.c_array import c_array


@pytest.mark.parametrize(("width", "kind", "digits"), [(8, "uint8_t", 2), (9, "uint16_t", 4), (24, "uint32_t", 8)])
def test_an_array_of_the_smallest_type_that_holds_a_word(make_board, memory, random_contents, width, kind, digits):
    part = Part(number="spare", words=17, width=width)
    board = make_board(
        memory(address=["x2-x5"], data=["b0-b1", "g0-g1", "r0-r1"], part=part, name="tern-1"), check=False
    )
    contents = random_contents(board)
    (file,) = c_array(contents, board)
    words = contents.memories["tern-1"].words.tolist()
    lines = file.data.decode().splitlines()
    assert lines[:4] == [
        "/* device tern-1, spare */",
        "#include <stdint.h>",
        "",
        f"const {kind} tern_1[17] = {{",
    ]
    assert lines[5:] == [f"    0x{words[16]:0{digits}X},", "};"]
    assert join_files([file], board.devices[0]).tolist() == words


def test_a_symbol_that_c_cannot_take_is_refused(board, random_contents):
    with pytest.raises(DeviceFileError, match="symbol '27C010' is not a C identifier"):
        c_array(random_contents(board), board, symbol="{part}")


def test_symbols_that_would_not_compile_are_known_before_there_are_contents(board, make_board, memory):
    stage = declaration_of(c_array)
    found = HooksOf(stage, board, {"symbol": "int"}).problems()
    assert [problem.what for problem in found] == ["symbol 'int' is not a C identifier"]
    two = make_board(
        memory(name="low", address=["x2-x9"], data=["b0-b1", "g0"]),
        memory(name="high", address=["x2-x9"], data=["g1", "r0-r1"]),
        check=False,
    )
    assert not HooksOf(stage, two, {}).problems()
    (problem,) = HooksOf(stage, two, {"symbol": "art"}).problems()
    assert (problem.where, problem.what) == (("symbol",), "several arrays would have the name 'art'")


def test_pieces_get_symbols_of_their_own(board, random_contents):
    files = c_array(random_contents(board), board, size=65536, symbol="lobby_{device}")
    assert [file.name for file in files] == ["picture-0.c", "picture-1.c"]
    assert b"lobby_picture_1[65536]" in files[1].data
