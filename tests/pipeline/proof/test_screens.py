import io

import numpy as np
from PIL import Image

from ladderlight.proof.screens import shown_banks, to_png


def test_pixels_survive_with_few_and_with_many_colours():
    rng = np.random.default_rng(1)
    few = rng.integers(0, 256, (7, 3), dtype=np.uint8)[rng.integers(0, 7, (20, 30))]
    many = rng.integers(0, 256, (20, 30, 3), dtype=np.uint8)
    for pixels, mode in ((few, "P"), (many, "RGB")):
        picture = Image.open(io.BytesIO(to_png(pixels)))
        assert picture.mode == mode
        assert (np.asarray(picture.convert("RGB")) == pixels).all()
        assert to_png(pixels) == to_png(pixels.copy())


def test_banks_with_pictures_are_shown_or_all_when_none_is_named(board):
    assert shown_banks(board, {"pictures": [{"bank": 3}, {"bank": 1}, {"bank": 3}]}) == [1, 3]
    assert shown_banks(board, {"pictures": []}) == [0, 1, 2, 3]
