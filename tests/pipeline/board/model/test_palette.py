"""Palettes: colours of codes, lattices, the black code, the tube's curve."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ladderlight.board import Ladder, linear_from_srgb, srgb_from_linear
from ladderlight.board.model.palette import light_of, palette_of

RGB = {
    "red": {"r0": 1330.0, "r1": 715.0},
    "green": {"g0": 1330.0, "g1": 715.0},
    "blue": {"b0": 1330.0, "b1": 715.0},
}
LINES = ("b0", "b1", "g0", "g1", "r0", "r1")


def test_code_bits_follow_the_lines(ladder) -> None:
    palette = palette_of(ladder(**RGB), LINES)
    assert len(palette) == 64
    assert palette.volts[0b11_00_01] == pytest.approx([30675 / 44173, 0, 10725 / 44173], rel=1e-14)


def test_colours(ladder) -> None:
    palette = palette_of(ladder(**RGB), LINES)
    # 10725, 19950 and 30675 of 44173 V are 88.45, 164.52 and 252.97 of 255 at 0.7 V.
    assert [palette.hex_of(code) for code in (0, 1, 2, 3, 63)] == [
        "#000000",
        "#000058",
        "#0000a5",
        "#0000fd",
        "#fdfdfd",
    ]
    assert palette.linear[3, 2] == pytest.approx(((30675 / 44173 / 0.7 + 0.055) / 1.055) ** 2.4, rel=1e-14)


def test_more_than_peak_clips(ladder) -> None:
    palette = palette_of(ladder(red={"r0": 330.0}), ("r0",))
    assert palette.volts[1, 0] == pytest.approx(5 * 75 / 405)
    assert palette.drive[1, 0] == 1.0
    assert palette.hex_of(1) == "#ff0000"


def test_tube_shows_other_light_for_the_same_volts(ladder) -> None:
    tube = replace(ladder(red={"r0": 460 + 5 / 7, "r1": 1330.0}), response="tube", tube_black=0.01)
    palette = palette_of(tube, ("r1", "r0"))
    drive = palette.drive[1, 0]
    root = 0.01 ** (1 / 2.4)
    assert palette.linear[1, 0] == pytest.approx(((1 - root) * drive + root) ** 2.4, rel=1e-14)
    assert palette.linear[0] == pytest.approx([0.01] * 3, rel=1e-12)
    assert palette.linear[3, 0] == 1.0
    assert palette.srgb8[0, 0] == round(255 * (1.055 * 0.01 ** (1 / 2.4) - 0.055))


def test_tube_without_black_is_a_power() -> None:
    tube = Ladder(supply=5.0, channels=(), response="tube")
    assert light_of(np.array([0.0, 0.5, 1.0]), tube) == pytest.approx([0, 0.5**2.4, 1], rel=1e-15)


def test_lattice_of_independent_channels(ladder) -> None:
    palette = palette_of(ladder(**RGB), LINES)
    lattice = palette.lattice
    assert lattice is not None
    for gun, shift in ((0, 4), (1, 2), (2, 0)):
        assert lattice.codes[gun].tolist() == [n << shift for n in range(4)]
        assert lattice.codes[gun].dtype == np.uint16
        assert lattice.levels[gun] == pytest.approx(palette.linear[lattice.codes[gun], gun])
    code = int(lattice.codes[0][1] + lattice.codes[1][2] + lattice.codes[2][3])
    assert palette.linear[code] == pytest.approx([lattice.levels[g][n] for g, n in ((0, 1), (1, 2), (2, 3))])


def test_lattice_levels_ascend_when_the_first_line_weighs_most(ladder) -> None:
    lattice = palette_of(ladder(red={"r0": 715.0, "r1": 1330.0}), ("r0", "r1")).lattice
    assert lattice is not None
    assert lattice.codes[0].tolist() == [0, 2, 1, 3]
    assert lattice.codes[1].tolist() == [0]


def test_no_lattice_when_guns_share_lines(ladder) -> None:
    assert palette_of(ladder(grey={"b0": 150.0}), ("b0",)).lattice is None
    shared = ladder(red={"i": 1330.0, "r": 715.0}, green={"i": 1330.0, "g": 715.0})
    assert palette_of(shared, ("i", "r", "g")).lattice is None


def test_black_code_is_the_darkest(ladder) -> None:
    palette = palette_of(ladder(**RGB), LINES)
    assert palette.black_code == 0
    raised = replace(ladder(red={"r0": 330.0, "r1": 330.0}), low_volts=5.0, supply=0.1)
    assert palette_of(raised, ("r0", "r1")).black_code == 3


@given(st.floats(min_value=0.0, max_value=1.0))
def test_srgb_there_and_back(value: float) -> None:
    # The standard's two rounded joints differ by 3e-8.
    assert float(srgb_from_linear(linear_from_srgb(np.array(value)))) == pytest.approx(value, abs=1e-7)
