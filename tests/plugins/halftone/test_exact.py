"""Pictures that already are in the board's colours."""

from __future__ import annotations

import numpy as np

from ladderlight import Board
from ladderlight.board import linear_from_srgb
from ladderlight_stages.halftone.exact import exact_codes


def test_one_other_pixel_is_enough_to_say_no(board: Board) -> None:
    codes = np.random.default_rng(1).integers(0, 64, (120, 160))
    pixels = board.palette.linear[codes].astype(np.float32)
    np.testing.assert_array_equal(exact_codes(pixels, board.palette), codes)
    pixels[77, 33] += 0.01
    assert exact_codes(pixels, board.palette) is None


def test_half_a_step_of_8_bits_is_the_same_colour_and_a_whole_one_is_not(board: Board) -> None:
    stored = board.palette.srgb8[[27]].astype(float)[None]
    assert exact_codes(linear_from_srgb((stored + 0.4) / 255).astype(np.float32), board.palette) == 27
    assert exact_codes(linear_from_srgb((stored + 1.0) / 255).astype(np.float32), board.palette) is None


def test_codes_that_differ_by_less_than_8_bits_show_are_told_apart(board: Board) -> None:
    from dataclasses import replace

    volts = board.palette.volts.copy()
    volts[40] = volts[39] + 1e-5  # ten microvolts
    palette = replace(board.palette, volts=volts)
    assert (palette.srgb8[40] == palette.srgb8[39]).all()
    for code in (39, 40):
        assert exact_codes(palette.linear[[[code]]].astype(np.float32), palette) == code


def test_of_several_codes_with_one_colour_the_lowest(board: Board) -> None:
    from dataclasses import replace

    volts = board.palette.volts.copy()
    volts[40] = volts[12]
    palette = replace(board.palette, volts=volts)
    assert exact_codes(palette.linear[[[40]]].astype(np.float32), palette) == 12
