"""Threshold patterns against published ones."""

from __future__ import annotations

import numpy as np

from ladderlight_stages.reductions.ordered import bayer

# B. E. Bayer, An optimum method for two-level rendition of continuous-tone pictures, IEEE ICC 1973: the 4x4 matrix, as
# C. N. Judice, J. F. Jarvis and W. H. Ninke, Using ordered dither to display continuous tone pictures on an AC plasma
# panel, Proc. SID 15 (1974), give it.
BAYER_4 = [[0, 8, 2, 10], [12, 4, 14, 6], [3, 11, 1, 9], [15, 7, 13, 5]]


def test_bayers_4x4() -> None:
    np.testing.assert_array_equal(bayer(4), BAYER_4)


def test_bayers_recursion_entry_by_entry() -> None:
    """Each entry from the bits of its place: interleaved, x xor y before y, the lowest bits weighing most."""
    for size in (2, 4, 8, 16):
        bits = size.bit_length() - 1
        for y in range(size):
            for x in range(size):
                rank = 0
                for bit in range(bits):
                    rank = rank << 2 | ((x ^ y) >> bit & 1) << 1 | (y >> bit & 1)
                assert bayer(size)[y, x] == rank
