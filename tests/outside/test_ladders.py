"""Ladder levels against exact fractions.

The fractions are worked out here, independently of the product, from Ohm's and Kirchhoff's laws (Millman's theorem for
one node, elimination for several). The levels of white are those of the VESA Video Signal Standard: 0.700 V, +0.070
-0.035 V, into 75 ohm.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import product
from math import inf

import numpy as np
import pytest

from ladderlight.board import Channel, Ladder
from ladderlight.board.model.ladder import all_states

EXACT = 1e-13
"""Relative; what double precision leaves."""


def levels(ladder: Ladder, gun: int = 0) -> np.ndarray:
    """A gun's volts for all states of the ladder's lines, the first line being bit 0."""
    states = all_states(len(ladder.lines)).astype(np.int64)
    return ladder.gun_volts({line: states[:, i] for i, line in enumerate(ladder.lines)}, len(states))[:, gun]


def weighted(*ohms: float, **more: float) -> Ladder:
    resistors = {f"r{bit}": value for bit, value in enumerate(ohms)}
    return Ladder(
        supply=more.pop("supply", 5.0), channels=(Channel(name="red", resistors=resistors, guns=(0,)),), **more
    )


def millman(supply: Fraction, ohms: list[Fraction], load: Fraction, code: int) -> Fraction:
    """Millman's theorem: sum of E g over sum of g."""
    driven = sum(supply / r for bit, r in enumerate(ohms) if code >> bit & 1)
    return driven / (sum(1 / r for r in ohms) + 1 / load)


def eliminate(matrix: list[list[Fraction]], right: list[Fraction]) -> list[Fraction]:
    """Gauss and Jordan, in fractions."""
    rows = [[*row, value] for row, value in zip(matrix, right, strict=True)]
    for pivot in range(len(rows)):
        chosen = next(row for row in range(pivot, len(rows)) if rows[row][pivot])
        rows[pivot], rows[chosen] = rows[chosen], rows[pivot]
        rows[pivot] = [value / rows[pivot][pivot] for value in rows[pivot]]
        for row in range(len(rows)):
            if row != pivot:
                rows[row] = [a - rows[row][pivot] * b for a, b in zip(rows[row], rows[pivot], strict=True)]
    return [row[-1] for row in rows]


@pytest.mark.parametrize(
    ("ladder", "expected"),
    [
        pytest.param(weighted(1500, 680), ("0", "170/789", "125/263", "545/789"), id="ideal drivers"),
        pytest.param(
            weighted(1500, 680, driver_high=50, driver_low=50),
            ("0", "219/1042", "465/1042", "342/521"),
            id="50 ohm drivers",
        ),
        pytest.param(weighted(1500, 680, driver_low=inf), ("0", "5/21", "75/151", "545/789"), id="lows float"),
        pytest.param(weighted(1500, 680, load=inf), ("0", "170/109", "375/109", "5"), id="no monitor"),
        pytest.param(weighted(3225 / 7), ("0", "7/10"), id="460.714 ohm"),
        pytest.param(weighted(1950 / 7, supply=3.3), ("0", "7/10"), id="278.571 ohm from 3.3 V"),
    ],
)
def test_weighted_levels(ladder: Ladder, expected: tuple[str, ...]) -> None:
    assert levels(ladder) == pytest.approx([float(Fraction(text)) for text in expected], rel=EXACT, abs=1e-15)


def test_the_fractions_are_millmans() -> None:
    """The figures above follow from the formula, not from the product."""
    for driver, figures in ((0, "170/789 125/263 545/789"), (50, "219/1042 465/1042 342/521")):
        ohms = [Fraction(1500 + driver), Fraction(680 + driver)]
        found = [millman(Fraction(5), ohms, Fraction(75), code) for code in (1, 2, 3)]
        assert found == [Fraction(text) for text in figures.split()]


def test_figures_as_they_are_quoted() -> None:
    assert levels(weighted(1500, 680))[1:].round(6).tolist() == [0.215463, 0.475285, 0.690748]
    assert levels(weighted(1500, 680, driver_low=inf))[1:].round(6).tolist() == [0.238095, 0.496689, 0.690748]
    assert levels(weighted(1500, 680, load=inf))[1:].round(3).tolist() == [1.560, 3.440, 5.000]


@pytest.mark.parametrize(
    ("supply", "volts", "ohms"),
    [
        (5.0, "0.7", "460.714"),
        (3.3, "0.7", "278.571"),
        # 1555.4 and 722.9 ohm are quoted for one and two thirds; they belong to thirds rounded to 0.23 and 0.47 V.
        (5.0, "0.23", "1555.4"),
        (5.0, "0.47", "722.9"),
        (5.0, "7/30", "1532.1"),
        (5.0, "14/30", "728.6"),
    ],
)
def test_one_resistor_to_a_voltage(supply: float, volts: str, ohms: str) -> None:
    """Ohm's law: R = R_L (V / v - 1) for v = V R_L / (R + R_L)."""
    exact = 75 * (Fraction(str(supply)) / Fraction(volts) - 1)
    assert abs(exact - Fraction(ohms)) <= Fraction(1, 2 * 10 ** len(ohms.partition(".")[2]))
    assert levels(weighted(float(exact), supply=supply))[1] == pytest.approx(float(Fraction(volts)), rel=EXACT)


def test_r2r_of_two_bits() -> None:
    ladder = Ladder(
        supply=5.0,
        channels=(Channel(name="red", resistors={"r0": 660.0, "r1": 660.0}, guns=(0,), r2r=330.0),),
    )
    exact = [Fraction(5) * code / 4 * 75 / (330 + 75) for code in range(4)]
    assert [round(float(value), 6) for value in exact] == [0.0, 0.231481, 0.462963, 0.694444]
    assert levels(ladder) == pytest.approx([float(value) for value in exact], rel=EXACT, abs=1e-15)


def test_r2r_behind_drivers_by_elimination() -> None:
    """Three bits, R = 470, rungs of 1 kilohm, 33 ohm drivers, 3.3 V: nodes 0, 1, 2, the last loaded with 75 ohm."""
    rail, rung, load, supply = Fraction(470), Fraction(1033), Fraction(75), Fraction("3.3")
    ladder = Ladder(
        supply=3.3,
        driver_high=33.0,
        driver_low=33.0,
        channels=(Channel(name="red", resistors=dict.fromkeys(("a", "b", "c"), 1000.0), guns=(0,), r2r=470.0),),
    )
    matrix = [
        [1 / rung + 1 / rail + 1 / (2 * rail), -1 / rail, Fraction(0)],
        [-1 / rail, 1 / rung + 2 / rail, -1 / rail],
        [Fraction(0), -1 / rail, 1 / rung + 1 / rail + 1 / load],
    ]
    for code, volts in enumerate(levels(ladder)):
        right = [supply / rung if code >> bit & 1 else Fraction(0) for bit in range(3)]
        assert volts == pytest.approx(float(eliminate(matrix, right)[2]), rel=EXACT, abs=1e-15)


@pytest.mark.parametrize("driver", [0, 50])
def test_shared_intensity_line(driver: int) -> None:
    """One line through 1 k, 1.2 k and 1.5 k into three channels with lines of their own.

    With ideal drivers each channel is a two-bit ladder of its own. A driver's resistance couples them; the shared
    line's pin is then a fourth node.
    """
    shared = {"red": Fraction(1000), "green": Fraction(1200), "blue": Fraction(1500)}
    own = {"red": Fraction(680), "green": Fraction(560), "blue": Fraction(470)}
    ladder = Ladder(
        supply=5.0,
        driver_high=float(driver),
        driver_low=float(driver),
        channels=tuple(
            Channel(name=name, resistors={"i": float(shared[name]), name[0]: float(own[name])}, guns=(gun,))
            for gun, name in enumerate(shared)
        ),
    )
    assert ladder.lines == ("i", "r", "g", "b")
    found = np.stack([levels(ladder, gun) for gun in range(3)], axis=1)
    for state, (b, g, r, i) in enumerate(product((0, 1), repeat=4)):
        if driver == 0:
            expected = [
                millman(Fraction(5), [shared[name], own[name]], Fraction(75), i + 2 * bit)
                for name, bit in zip(shared, (r, g, b), strict=True)
            ]
        else:
            names = list(shared)
            matrix = [[Fraction(0)] * 4 for _ in range(4)]
            right = [Fraction(5) * bit / (own[name] + driver) for name, bit in zip(names, (r, g, b), strict=True)]
            for node, name in enumerate(names):
                matrix[node][node] = 1 / shared[name] + 1 / (own[name] + driver) + Fraction(1, 75)
                matrix[node][3] = matrix[3][node] = -1 / shared[name]
            matrix[3][3] = sum(1 / ohms for ohms in shared.values()) + Fraction(1, driver)
            expected = eliminate(matrix, [*right, Fraction(5) * i / driver])[:3]
        assert found[state] == pytest.approx([float(value) for value in expected], rel=EXACT, abs=1e-15)


@pytest.mark.parametrize("driver", [0, 50])
def test_grey_board_loads_its_channel_with_three_inputs(driver: int) -> None:
    """1500 and 680 ohm into three inputs of 75 ohm in parallel, 25 ohm."""
    resistors = {"k0": 1500.0, "k1": 680.0}
    ladder = Ladder(
        supply=5.0,
        driver_high=float(driver),
        driver_low=float(driver),
        channels=(Channel(name="grey", resistors=resistors, guns=(0, 1, 2)),),
    )
    expected = [
        float(millman(Fraction(5), [Fraction(1500 + driver), Fraction(680 + driver)], Fraction(25), code))
        for code in range(4)
    ]
    for gun in range(3):
        assert levels(ladder, gun) == pytest.approx(expected, rel=EXACT, abs=1e-15)


def test_five_per_cent_corners() -> None:
    """Every corner of two 5 % resistors, the load exact; the limits quoted for each level."""
    corners = np.array(
        [levels(weighted(1500 * (1 + low / 20), 680 * (1 + high / 20))) for low, high in product((-1, 1), repeat=2)]
    )
    limits = list(zip(corners.min(axis=0)[1:].round(4), corners.max(axis=0)[1:].round(4), strict=True))
    assert limits == [(0.2046, 0.2273), (0.4537, 0.4988), (0.6622, 0.7219)]


def test_white_of_that_ladder_is_within_the_video_signal_standard() -> None:
    white = levels(weighted(1500, 680))[3]
    assert 0.700 - 0.035 <= white <= 0.700 + 0.070
    assert weighted(1500, 680).peak == 0.700


@pytest.mark.parametrize("seed", range(20))
def test_random_weighted_ladders(seed: int) -> None:
    """Up to six resistors, any driver resistance, against Millman's theorem in fractions."""
    rng = np.random.default_rng(seed)
    ohms = [int(value) for value in rng.integers(100, 20_000, rng.integers(1, 7))]
    driver, load = int(rng.integers(0, 200)), int(rng.integers(50, 1000))
    ladder = weighted(*ohms, load=load, driver_high=driver, driver_low=driver, supply=3.3)
    expected = [
        float(millman(Fraction("3.3"), [Fraction(r + driver) for r in ohms], Fraction(load), code))
        for code in range(1 << len(ohms))
    ]
    assert levels(ladder) == pytest.approx(expected, rel=EXACT, abs=1e-15)
