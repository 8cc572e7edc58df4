import numpy as np

from ladderlight import TileSet
from ladderlight.proof.tilesheet import tile_sheet


def tiles(codes):
    count = len(codes)
    return TileSet(
        memory="tiles", codes=codes.astype(np.uint16), numbers=np.arange(count), uses=np.ones(count, dtype=np.int64)
    )


def test_tiles_stand_by_number_32_in_a_row_enlarged_on_grey(board):
    codes = np.random.default_rng(1).integers(0, 64, (70, 8, 8))
    sheet = tile_sheet(board, tiles(codes))
    assert sheet.shape == (3 * 34 + 2, 32 * 34 + 2, 3)
    assert (sheet[:2] == 0xC8).all()
    for number in (0, 31, 32, 69):
        top, left = number // 32 * 34 + 2, number % 32 * 34 + 2
        shown = sheet[top : top + 32, left : left + 32]
        assert (shown == board.palette.srgb8[codes[number]].repeat(4, axis=0).repeat(4, axis=1)).all()
    assert (sheet[2 * 34 + 2 :, 6 * 34 + 2 :] == 0xC8).all()


def test_a_set_of_one_or_none(board):
    assert tile_sheet(board, tiles(np.zeros((1, 16, 16)))).shape == (36, 36, 3)
    assert (tile_sheet(board, tiles(np.zeros((0, 8, 8)))) == 0xC8).all()
