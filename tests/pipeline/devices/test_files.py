import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ladderlight import DeviceFile, DeviceFileError, Span
from ladderlight.board import Device, Part
from ladderlight.devices.files import (
    bytes_of,
    checksums_of,
    join_files,
    name_files,
    pieces,
    planned_pieces,
    span_places,
    words_of,
)


def device(words=16, width=8):
    return Device(name="chip", memory="chip", part=Part(number="spare", words=words, width=width), index=0)


def file(name, data, **span):
    return DeviceFile(device="chip", name=name, data=data, span=Span(**span))


def test_bytes_of_words_by_width_and_order():
    words = np.array([0x1234, 0xABCD], dtype=np.uint32)
    assert bytes_of(words, 16).hex() == "3412cdab"
    assert bytes_of(words, 16, "big").hex() == "1234abcd"
    assert bytes_of(words, 8).hex() == "34cd"
    assert bytes_of(np.array([0xF], dtype=np.uint32), 4).hex() == "0f"


def read_device_file(name, data, chip):
    """One file that holds the whole device."""
    return join_files([file(name, data)], chip)


@given(st.integers(1, 32), st.sampled_from(["little", "big"]), st.data())
def test_words_survive_bytes(width, order, data):
    values = data.draw(st.lists(st.integers(0, (1 << width) - 1), max_size=20))
    words = np.array(values, dtype=np.uint32)
    back = words_of(bytes_of(words, width, order), width, order)
    assert back.dtype.itemsize == (1 if width <= 8 else 2 if width <= 16 else 4)
    assert back.tolist() == values


def test_words_are_split_over_chips_lowest_addresses_first(make_board, memory, random_contents):
    board = make_board(
        memory(address=["x2-x9", "y2-y8", "bank0"], data=["b0-b1", "g0-g1", "r0-r1"], part="2764", chips=8)
    )
    contents = random_contents(board)
    words = {name: held.words for name, held in contents.memories.items()}
    split = [(chip, chip.words(words)) for chip in board.devices]
    assert [chip.name for chip, _ in split] == [f"picture-{n}" for n in range(8)]
    assert np.concatenate([words for _, words in split]).tolist() == contents.memories["picture"].words.tolist()
    assert {len(words) for _, words in split} == {8192}


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize("split", ["none", "even_odd"])
@pytest.mark.parametrize("size", [None, 1000, 4096])
def test_what_each_file_holds_is_known_without_contents(make_board, memory, random_contents, order, split, size):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C1024"))
    contents = random_contents(board)
    planned = planned_pieces(board, order=order, split=split, size=size)
    whole = pieces(contents, board, order=order, split=split, size=size)
    assert [(p.device, p.span, p.label, p.size) for p in planned] == [
        (p.device, p.span, p.label, len(p.data)) for p in whole
    ]
    image = np.frombuffer(bytes_of(contents.memories["picture"].words, 16), dtype=np.uint8)
    for piece in whole:
        assert image[span_places(piece.span, piece.device)].tobytes() == piece.data


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize("split", ["none", "even_odd"])
@pytest.mark.parametrize("size", [None, 1000, 4096])
def test_pieces_put_together_again_are_the_device(make_board, memory, random_contents, order, split, size):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C1024"))
    contents = random_contents(board)
    found = [
        piece.file("{device}.bin", piece.data) for piece in pieces(contents, board, order=order, split=split, size=size)
    ]
    assert len({file.name for file in found}) == len(found)
    assert (join_files(found, board.devices[0]) == contents.memories["picture"].words).all()


def test_a_wrong_size_names_both_sizes():
    with pytest.raises(DeviceFileError, match=r"chip\.bin: holds 15 bytes, not 16"):
        read_device_file("chip.bin", bytes(15), device())


def test_whatever_format_is_told_by_content():
    text = b":02000000AA55FF\n:00000001FF\n"
    assert read_device_file("odd name.txt", text, device(4)).tolist() == [0xAA, 0x55, 0xFF, 0xFF]
    assert read_device_file("x", b"S1050000AA55FB\nS9030000FC\n", device(4)).tolist() == [0xAA, 0x55, 0xFF, 0xFF]
    assert read_device_file("x", b"@1 AA55\n", device(4, 16)).tolist() == [0xFFFF, 0xAA55, 0xFFFF, 0xFFFF]
    assert read_device_file("x", b":abc", device(4)).tolist() == list(b":abc")


def test_bytes_beyond_the_device_are_an_error():
    with pytest.raises(DeviceFileError, match=r"bytes at 10h to 11h, but device 'chip' \(spare\) takes 0h to Fh"):
        read_device_file("chip.hex", b":02001000AA55EF\n:00000001FF\n", device())


def test_files_that_disagree_are_both_named_with_the_first_address():
    one, two = file("chip.bin", bytes(16)), file("other.bin", bytes(9) + b"\x01" + bytes(6))
    with pytest.raises(DeviceFileError, match=r"chip\.bin and other\.bin disagree .* 1 byte, first at address 0009h"):
        join_files([one, two], device())


def test_the_two_byte_orders_of_one_content_agree():
    words = np.arange(8, dtype=np.uint32) * 0x1111
    little, big = file("a", bytes_of(words, 16)), file("b", bytes_of(words, 16, "big"), order="big")
    assert join_files([little, big], device(8, 16)).tolist() == words.tolist()


def test_a_device_not_covered_by_its_files_is_an_error():
    with pytest.raises(DeviceFileError, match=r"8 of 16 bytes of device .* are in no file of chip-0\.bin; add"):
        join_files([file("chip-0.bin", bytes(8), count=8)], device())


def test_names_get_the_project_and_must_differ():
    found = name_files([file("{project}-a.bin", b"")], "Merrowhithe: lobby")
    assert [item.name for item in found] == ["Merrowhithe-lobby-a.bin"]
    with pytest.raises(DeviceFileError, match="have one name"):
        name_files([file("a.bin", b""), file("A.BIN", b"")], "p")


@pytest.mark.parametrize("name", ["../a.bin", "/a.bin", "a//b", "", "c:a.bin", "a\\b", ".."])
def test_names_must_stay_in_the_folder(name):
    with pytest.raises(DeviceFileError, match="is not portable"):
        name_files([file(name, b"")], "p")


def test_figures_of_the_usual_check_string():
    assert checksums_of(b"123456789") == {
        "crc32": "CBF43926",
        "sum8": "DD",
        "sum16": "01DD",
        "sum32": "000001DD",
        "sha256": "15e2b0d3c33891ebb0f1ef609ec419420c20e320ce94c65fbc8c3312448eb225",
    }


def test_a_sum_wraps_at_its_width():
    sums = checksums_of(b"\xff" * 258)
    assert (sums["sum8"], sums["sum16"], sums["sum32"]) == ("FE", "00FE", "000100FE")


@pytest.mark.parametrize("length", [0, 1, 4096])
def test_all_figures_have_their_full_width(length):
    sums = checksums_of(bytes(length))
    assert [len(sums[name]) for name in ("crc32", "sum8", "sum16", "sum32", "sha256")] == [8, 2, 4, 8, 64]
