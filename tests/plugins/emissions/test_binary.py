import numpy as np
import pytest

from ladderlight import DeviceFileError, Span
from ladderlight_stages.emissions.binary import binary


def test_a_file_is_exactly_of_the_device_size_and_holds_its_words(board, random_contents):
    contents = random_contents(board)
    (file,) = binary(contents, board)
    assert (file.device, file.name, len(file.data)) == ("picture", "picture.bin", 131072)
    assert np.frombuffer(file.data, dtype=np.uint8).tolist() == contents.memories["picture"].words.tolist()


def test_chips_in_a_row_get_one_file_each_lowest_addresses_first(make_board, memory, random_contents):
    board = make_board(
        memory(address=["x2-x9", "y2-y8", "bank0"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C256", chips=2)
    )
    contents = random_contents(board)
    files = binary(contents, board)
    assert [file.name for file in files] == ["picture-0.bin", "picture-1.bin"]
    assert b"".join(file.data for file in files) == contents.memories["picture"].words.astype(np.uint8).tobytes()


@pytest.fixture
def wide(make_board, memory):
    return make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C1024"))


def test_wide_words_go_out_in_either_byte_order(wide, random_contents):
    contents = random_contents(wide)
    words = contents.memories["picture"].words
    (little,) = binary(contents, wide)
    (big,) = binary(contents, wide, order="big")
    assert len(little.data) == len(big.data) == 131072
    assert np.frombuffer(little.data, "<u2").tolist() == words.tolist()
    assert np.frombuffer(big.data, ">u2").tolist() == words.tolist()


def test_even_and_odd_bytes_go_into_files_of_their_own(wide, random_contents):
    contents = random_contents(wide)
    words = contents.memories["picture"].words
    even, odd = binary(contents, wide, split="even_odd")
    assert (even.name, odd.name) == ("picture-even.bin", "picture-odd.bin")
    assert np.frombuffer(even.data, np.uint8).tolist() == (words & 0xFF).tolist()
    assert np.frombuffer(odd.data, np.uint8).tolist() == (words >> 8).tolist()
    assert (even.span, odd.span) == (Span(first=0, count=65536, step=2), Span(first=1, count=65536, step=2))


def test_a_small_programmer_gets_several_files(board, random_contents):
    contents = random_contents(board)
    files = binary(contents, board, size=50000, name="{memory}_{part}_{piece}.rom")
    assert [file.name for file in files] == [f"picture_27C010_{n}.rom" for n in range(3)]
    assert [len(file.data) for file in files] == [50000, 50000, 31072]
    assert b"".join(file.data for file in files) == binary(contents, board)[0].data


def test_an_odd_size_that_would_cut_a_word_is_refused(wide, random_contents):
    with pytest.raises(DeviceFileError, match="multiple of 2"):
        binary(random_contents(wide), wide, size=1001)


def test_an_unknown_field_in_a_name_is_an_error_that_names_the_nearest(board, random_contents):
    with pytest.raises(DeviceFileError, match=r"unknown field '\{devise\}'; did you mean 'device'"):
        binary(random_contents(board), board, name="{devise}.bin")
