import numpy as np
import pytest

from ladderlight import Contents, MemoryContents
from ladderlight.board import Part
from ladderlight.devices.files import join_files
from ladderlight_stages.emissions.verilog_mem import verilog_mem


@pytest.fixture
def wide(make_board, memory, random_contents):
    part = Part(number="spare", words=20, width=12)
    board = make_board(memory(address=["x2-x5"], data=["b0-b1", "g0-g1", "r0-r1"], part=part), check=False)
    return random_contents(board), board


def test_addresses_count_elements_and_digits_follow_the_width(wide):
    contents, board = wide
    (file,) = verilog_mem(contents, board, offset=0x30)
    words = contents.memories["picture"].words.tolist()
    assert file.data.decode().splitlines() == [
        "// device picture, spare: 20 elements of 12 bits",
        "@30",
        " ".join(f"{word:03X}" for word in words[:16]),
        " ".join(f"{word:03X}" for word in words[16:]),
    ]
    assert join_files([file], board.devices[0]).tolist() == words


def test_torn_words_become_elements_of_a_byte(wide):
    contents, board = wide
    even, odd = verilog_mem(contents, board, split="even_odd", size=12)[::2]
    assert (even.name, odd.name) == ("picture-even-0.mem", "picture-odd-0.mem")
    assert odd.data.decode().splitlines()[2].split()[0] == f"{int(contents.memories['picture'].words[0]) >> 8:02X}"
    files = verilog_mem(contents, board, split="even_odd", size=12)
    assert join_files(files, board.devices[0]).tolist() == contents.memories["picture"].words.tolist()


def test_a_one_word_device(make_board, memory):
    board = make_board(memory(address=[], data=["b0-b1", "g0-g1", "r0-r1"], part=Part(number="one", words=1, width=8)))
    words = np.array([0x2A], dtype=np.uint32)
    (file,) = verilog_mem(Contents(memories={"picture": MemoryContents(words=words, written=words)}), board)
    assert file.data == b"// device picture, one: 1 elements of 8 bits\n@0\n2A\n"
