import io

import numpy as np
import pytest
from PIL import Image

from ladderlight import DeviceFileError
from ladderlight.readback.decoding import coded_png, decode, memories_of_dumps, read_dumps
from ladderlight.screen import picture_codes
from ladderlight_stages.emissions.binary import binary
from ladderlight_stages.emissions.intel_hex import intel_hex
from ladderlight_stages.emissions.s_record import s_record


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
    with pytest.raises(DeviceFileError, match="named after device green, blue"):
        memories_of_dumps(planes, [dumps[0], *unnamed[1:]])
    with pytest.raises(DeviceFileError, match="2 dumps for 3 devices; give one for each of red, green, blue"):
        memories_of_dumps(planes, dumps[:2])


def test_wide_words_are_read_in_either_byte_order(make_board, memory, banked):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C1024"))
    contents = banked(board, (0,))
    for order in ("little", "big"):
        (file,) = binary(contents, board, order=order)
        words = memories_of_dumps(board, [("dump.bin", file.data)], order)
        assert (words["picture"] == contents.memories["picture"].words).all()


def test_more_than_256_codes_become_plain_colours(make_board, memory, ladder, banked):
    channels = {gun: {f"{gun[0]}{bit}": 500.0 * 2**bit for bit in range(3)} for gun in ("red", "green", "blue")}
    lines = ["b0-b2", "g0-g2", "r0-r2"]
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=lines, part="27C1024"), ladder=ladder(**channels))
    codes = np.arange(512).reshape(16, 32)
    picture = Image.open(io.BytesIO(coded_png(codes, board)))
    assert picture.mode == "RGB"
    assert (np.asarray(picture) == board.palette.srgb8[codes]).all()


def test_a_missing_dump_is_a_clear_error(tmp_path):
    (tmp_path / "a.bin").write_bytes(b"x")
    assert read_dumps([tmp_path / "a.bin"]) == [(str(tmp_path / "a.bin"), b"x")]
    with pytest.raises(DeviceFileError, match=r"b\.bin: cannot be read"):
        read_dumps([tmp_path / "b.bin"])
