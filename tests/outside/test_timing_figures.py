"""Worked examples that a bench notebook would hold, against what the board model computes.

Source: the arithmetic of a binary counter, done by hand in each comment. VESA DMT for 800x600@60: line sync 3.2 us,
line rate 37.879 kHz, frame sync 0.1056 ms.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from ladderlight.board import MODES, Part, Raster
from ladderlight.board.scanning.extent import extent_of
from ladderlight.board.scanning.timing import timings

MODE_800 = MODES["800x600@60"]


@pytest.mark.parametrize(
    ("mode", "clock", "address", "size", "words", "stride", "last"),
    [
        # 7 + 7 bits; row 74 starts at 74 x 128 = 9472, its last word is 9472 + 99 = 9571 = 2563h
        ("800x600@60", "10e6", ["x1-x7", "y3-y9"], (100, 75), 16_384, 128, 0x2563),
        # 8 + 7 bits; 119 x 256 + 159 = 30623 = 779Fh
        ("640x480@60", "25.175e6", ["x2-x9", "y2-y8"], (160, 120), 32_768, 256, 0x779F),
        # 9 + 8 bits; 239 x 512 + 319 = 122687 = 1DF3Fh
        ("640x480@60", "25.175e6", ["x1-x9", "y1-y8"], (320, 240), 131_072, 512, 0x1DF3F),
    ],
)
def test_pictures_lie_in_memory_as_worked_out_by_hand(
    make_board, memory, mode, clock, address, size, words, stride, last
) -> None:
    pins = (words - 1).bit_length()
    part = Part(number="exact", words=1 << pins, width=8)
    board = make_board(
        memory(address=address, data=["b0-b1", "g0-g1", "r0-r1"], part=part), mode=mode, clock=str(Fraction(clock))
    )
    picture = board.memory("picture")
    assert len(picture.address) == pins
    assert (board.geometry.width, board.geometry.height) == size
    assert board.geometry.pixel_aspect == 1
    extent = extent_of(board, picture)
    assert extent is not None
    assert (extent.stride, extent.last) == (stride, last)
    assert extent.used == size[0] * size[1]


@pytest.mark.parametrize(("lowest", "hold_ns"), [(0, 39.72), (1, 79.44), (2, 158.89), (3, 317.78)])
def test_holds_at_25_175_mhz(make_board, memory, lowest: int, hold_ns: float) -> None:
    """A word is held 2^k periods of 39.722 ns."""
    wide = Part(number="wide", words=1 << 18, width=8)
    address = [f"x{lowest}-x9", "y2-y8"]
    board = make_board(memory(address=address, data=["b0-b1", "g0-g1", "r0-r1"], part=wide))
    assert timings(board)["picture"].hold * 1e9 == pytest.approx(hold_ns, abs=0.005)


def test_a_quarter_of_the_dot_clock_at_800x600() -> None:
    """10 MHz is a quarter of 40 MHz: 1056 / 4 = 264 counts, 200 of them visible, each 4 pixels of 25 ns."""
    raster = Raster(mode=MODE_800, clock=Fraction(10_000_000))
    assert (raster.x.total, raster.x.visible) == (264, 200)
    assert raster.ratio == Fraction(1, 4)
    assert 1 / raster.mode.dot_clock == Fraction(25, 10**9)
    assert (raster.x.sync_start, raster.x.sync_end) == (210, 242)
    assert raster.whole


def test_syncs_of_800x600_as_published() -> None:
    """VESA DMT: line sync 3.2 us, line rate 37.879 kHz, frame sync 0.1056 ms."""
    assert float(MODE_800.horizontal.sync / MODE_800.dot_clock) == pytest.approx(3.2e-6)
    assert float(MODE_800.line_rate) == pytest.approx(37_879, abs=0.5)
    assert float(MODE_800.vertical.sync / MODE_800.line_rate) == pytest.approx(0.1056e-3)
