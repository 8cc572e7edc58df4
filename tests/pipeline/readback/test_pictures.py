import io

import numpy as np
import pytest
from PIL import Image

from ladderlight.errors import UsageError
from ladderlight.proof.scanout import picture_codes
from ladderlight.readback.dumps import Dump, memories_of_readings, readings_of
from ladderlight.readback.matching import match
from ladderlight.readback.pictures import MARK, damage, damage_png, decode, with_device
from ladderlight.readback.sections import sections_of
from ladderlight_stages.emissions.binary import binary
from ladderlight_stages.emissions.intel_hex import intel_hex
from ladderlight_stages.emissions.s_record import s_record


def test_what_differs_is_marked_and_the_rest_is_grey(board, banked):
    words = {"picture": banked(board, (0, 2)).memories["picture"].words}
    found = {"picture": words["picture"].copy()}
    found["picture"][7 | 5 << 8 | 2 << 15] ^= 1
    picture = damage(board, words, found, 2)
    assert (picture.dtype, picture.shape) == (np.uint8, (480, 640, 3))
    marked = (picture == MARK).all(axis=2)
    assert marked.sum() == 16
    assert marked[20:24, 28:32].all()
    grey = picture[~marked]
    assert (grey == grey[:, :1]).all()
    assert grey.max() <= 128
    assert not (damage(board, words, found, 0) == MARK).all(axis=2).any()


def test_counts_narrower_or_wider_than_monitor_pixels_are_marked_whole(make_board, memory):
    slow = make_board(memory(address=["x0-x7"], data=["b0-b1", "g0-g1", "r0-r1"]), mode="1024x768@60", clock="16250000")
    fast = make_board(memory(address=["x0-x10"], data=["b0-b1", "g0-g1", "r0-r1"]), clock="50350000")
    for board, columns in ((slow, range(40, 44)), (fast, range(5, 6))):
        words = {"picture": np.zeros(131072, dtype=np.uint32)}
        found = {"picture": words["picture"].copy()}
        found["picture"][10] = 63
        marked = (damage(board, words, found, 0) == MARK).all(axis=2)
        assert np.flatnonzero(marked.any(axis=0)).tolist() == list(columns)
        assert marked[:, columns[0]].all()


def test_only_banks_that_differ_are_written(board, banked):
    words = {"picture": banked(board, (0, 2)).memories["picture"].words}
    found = with_device(words, board.devices[0], words["picture"] ^ np.uint32(1))
    assert Image.open(io.BytesIO(damage_png(board, words, found, [0, 2]))).size == (640, 2 * 504)
    found = {"picture": words["picture"].copy()}
    found["picture"][2 << 15] ^= 1
    assert Image.open(io.BytesIO(damage_png(board, words, found, [0, 2]))).size == (640, 504)
    assert Image.open(io.BytesIO(damage_png(board, words, words, [0, 2]))).size == (640, 504)


def test_one_chip_of_a_row_is_replaced(make_board, memory, random_contents):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27128", chips=2))
    words = {"picture": random_contents(board).memories["picture"].words}
    found = with_device(words, board.devices[1], np.zeros(16384, dtype=np.uint32))
    assert (found["picture"][:16384] == words["picture"][:16384]).all()
    assert not found["picture"][16384:].any()
    assert words["picture"][16384:].any()


def memories_of_dumps(board, dumps, order=None, files=()):
    """What the command does: no build is looked at, only names, sizes and order tell."""
    sections = sections_of(board, files, order)
    found = match([Dump(name=name, data=data) for name, data in dumps], sections)
    return memories_of_readings(board, readings_of(found, sections))


def codes_of(data):
    picture = Image.open(io.BytesIO(data))
    assert picture.mode == "P"
    return np.asarray(picture)


@pytest.mark.parametrize("emission", [binary, intel_hex, s_record])
def test_pictures_come_back_out_of_a_dump_whatever_its_format(board, banked, emission):
    contents = banked(board, (0, 3))
    (file,) = emission(contents, board)
    words = memories_of_dumps(board, [("dump", file.data)])
    pictures = dict(decode(board, words))
    assert list(pictures) == [0, 1, 2, 3]
    for bank, data in pictures.items():
        assert (codes_of(data) == picture_codes(board, {"picture": contents.memories["picture"].words}, bank)).all()


@pytest.fixture
def planes(make_board, memory):
    """The three colours in memories of their own, side by side."""
    return make_board(
        *(
            memory(name, address=["x2-x9", "y2-y8"], data=[f"{name[0]}0-{name[0]}1"], part="27C256")
            for name in ("red", "green", "blue")
        )
    )


def test_dumps_are_told_by_name_or_else_taken_in_order(planes, banked):
    contents = banked(planes, (0,))
    files = binary(contents, planes)
    dumps = [(f"dumps/{file.device}.hex", file.data) for file in files]
    (_, expected), *_ = decode(planes, {name: m.words for name, m in contents.memories.items()})
    assert next(decode(planes, memories_of_dumps(planes, dumps[::-1])))[1] == expected
    unnamed = [(f"{n}.bin", data) for n, (_, data) in enumerate(dumps)]
    assert next(decode(planes, memories_of_dumps(planes, unnamed)))[1] == expected
    assert next(decode(planes, memories_of_dumps(planes, unnamed[::-1])))[1] != expected
    mixed = [unnamed[1], dumps[0], unnamed[2]]
    assert next(decode(planes, memories_of_dumps(planes, mixed)))[1] == expected
    with pytest.raises(UsageError, match=r"no dump holds device 'blue' \(32,768 bytes\); .* add what is left"):
        memories_of_dumps(planes, dumps[:2])
    with pytest.raises(UsageError, match=r"3\.bin: can only hold what is in 0\.bin, 1\.bin, 2\.bin already"):
        memories_of_dumps(planes, [*unnamed, ("3.bin", dumps[0][1])])


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize("size", [None, 40000])
def test_even_and_odd_dumps_in_pieces_are_put_together_as_the_files_are(make_board, memory, banked, order, size):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C1024"))
    contents = banked(board, (0,))
    wanted = contents.memories["picture"].words
    files = binary(contents, board, split="even_odd", size=size, order=order)
    named = [(file.name, file.data) for file in files]
    assert (memories_of_dumps(board, named[::-1], files=files)["picture"] == wanted).all()
    unnamed = [(f"{n}.rom", data) for n, (_, data) in enumerate(named)]
    assert (memories_of_dumps(board, unnamed, files=files)["picture"] == wanted).all()
    with pytest.raises(UsageError, match=r"no dump holds picture-odd(-1)?\.bin of device 'picture'"):
        memories_of_dumps(board, named[:-1], files=files)


def test_halves_of_a_wide_device_are_even_and_odd_though_no_file_is(make_board, memory, banked):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C1024"))
    wanted = banked(board, (0,)).memories["picture"].words
    image = wanted.astype("<u2").view(np.uint8)
    dumps = [("low.bin", image[::2].tobytes()), ("high.bin", image[1::2].tobytes())]
    assert (memories_of_dumps(board, dumps)["picture"] == wanted).all()
    assert (memories_of_dumps(board, dumps[::-1], "big")["picture"] == wanted).all()


def test_wide_words_are_read_in_either_byte_order(make_board, memory, banked):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C1024"))
    contents = banked(board, (0,))
    for order in ("little", "big"):
        (file,) = binary(contents, board, order=order)
        words = memories_of_dumps(board, [("dump.bin", file.data)], order)
        assert (words["picture"] == contents.memories["picture"].words).all()
