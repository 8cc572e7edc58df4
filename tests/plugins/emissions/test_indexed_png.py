import io

import numpy as np
import pytest
from PIL import Image

from ladderlight import DeviceFileError
from ladderlight.proof.scanout import picture_codes
from ladderlight_stages.emissions.indexed_png import indexed_png


def test_pixel_values_are_codes_and_colours_are_the_boards(board, banked):
    contents = banked(board, (1, 3))
    files = indexed_png(contents, board, name="{project}-{bank}.png")
    assert [(file.name, file.span, file.device) for file in files] == [
        ("{project}-1.png", None, "picture"),
        ("{project}-3.png", None, "picture"),
    ]
    words = {"picture": contents.memories["picture"].words}
    for file, bank in zip(files, (1, 3), strict=True):
        picture = Image.open(io.BytesIO(file.data))
        codes = picture_codes(board, words, bank)
        assert picture.mode == "P"
        assert (np.asarray(picture) == codes).all()
        assert (np.asarray(picture.convert("RGB")) == board.palette.srgb8[codes]).all()


def test_banks_that_would_share_a_file_are_refused(board, banked):
    with pytest.raises(DeviceFileError, match=r"put \{bank\} into it"):
        indexed_png(banked(board, (0, 1)), board, name="all.png")


def test_too_many_codes_are_refused(make_board, memory, ladder, banked):
    channels = {gun: {f"{gun[0]}{bit}": 500.0 * 2**bit for bit in range(3)} for gun in ("red", "green", "blue")}
    data = ["b0-b2", "g0-g2", "r0-r2"]
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=data, part="27C1024"), ladder=ladder(**channels))
    with pytest.raises(DeviceFileError, match="256 colours, but the board has 512"):
        indexed_png(banked(board, (0,)), board)
