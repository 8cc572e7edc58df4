"""Networks against hand-made figures and against themselves turned round."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ladderlight.board.model.network import GROUND, Driver, Network, Resistor

OHMS = st.floats(min_value=1.0, max_value=1e6)
BOTH = np.array([[False], [True]])


def divider(*, load: float = 75.0, **driver: float) -> Network:
    """One line through 460 5/7 ohm into a load: 0.7 V from 5 V with an ideal driver into 75 ohm."""
    return Network(
        resistors=(Resistor(a="line", b="out", ohms=3225 / 7), Resistor(a="out", b=GROUND, ohms=load)),
        drivers=(Driver(node="line", high_volts=5.0, **driver),),
    )


def test_divider() -> None:
    solution = divider().solve(BOTH)
    assert solution.at("out") == pytest.approx([0.0, 0.7], abs=1e-15)
    assert solution.currents[:, 0] == pytest.approx([0.0, 0.7 / 75], abs=1e-17)


def test_zero_ohm_driver_fixes_its_node_exactly() -> None:
    assert divider().solve(BOTH).at("line").tolist() == [0.0, 5.0]


def test_driver_resistance_is_in_series() -> None:
    behind = divider(high_ohms=50.0).solve(BOTH)
    assert behind.at("out")[1] == pytest.approx(5 * 75 / (75 + 3225 / 7 + 50), rel=1e-14)
    assert behind.at("line")[1] == pytest.approx(5 - 50 * behind.currents[1, 0], rel=1e-14)


def test_high_and_low_resistance_apply_to_their_states() -> None:
    network = Network(
        resistors=(
            Resistor(a="p", b="out", ohms=100.0),
            Resistor(a="q", b="out", ohms=100.0),
        ),
        drivers=(
            Driver(node="p", high_volts=1.0, high_ohms=100.0, low_ohms=300.0),
            Driver(node="q", high_volts=1.0, high_ohms=100.0, low_ohms=300.0),
        ),
    )
    out = network.solve(np.array([[True, False], [False, True], [True, True], [False, False]])).at("out")
    assert out == pytest.approx([400 / 600, 400 / 600, 1.0, 0.0], rel=1e-14)


def test_floating_driver_carries_no_current_and_follows_its_node() -> None:
    network = Network(
        resistors=(
            Resistor(a="p", b="out", ohms=715.0),
            Resistor(a="q", b="out", ohms=1330.0),
            Resistor(a="out", b=GROUND, ohms=75.0),
        ),
        drivers=(Driver(node="p", high_volts=5.0), Driver(node="q", high_volts=5.0, low_ohms=inf)),
    )
    solution = network.solve(np.array([[True, False]]))
    assert solution.at("out")[0] == pytest.approx(5 * 75 / 790, rel=1e-14)
    assert solution.at("q")[0] == pytest.approx(solution.at("out")[0], rel=1e-14)
    assert solution.currents[0, 1] == pytest.approx(0.0, abs=1e-16)


def test_low_level_above_ground() -> None:
    assert divider(low_volts=0.4).solve(BOTH).at("out")[0] == pytest.approx(0.4 * 0.14, rel=1e-14)


def test_open_end_carries_no_current() -> None:
    solution = divider(load=inf).solve(BOTH)
    assert solution.at("out").tolist() == [0.0, 5.0]
    assert solution.currents[:, 0].tolist() == [0.0, 0.0]


def test_nothing_holds_the_voltages() -> None:
    with pytest.raises(ValueError, match="nothing holds the voltages"):
        divider(load=inf, low_ohms=inf).solve(BOTH)


def test_resistor_from_a_driver_to_ground_loads_the_driver_only() -> None:
    plain = divider(high_ohms=10.0)
    loaded = Network(resistors=(*plain.resistors, Resistor(a="line", b=GROUND, ohms=100.0)), drivers=plain.drivers)
    solution = loaded.solve(BOTH)
    chain = 3225 / 7 + 75
    line = 5 * (1 / 10) / (1 / 10 + 1 / 100 + 1 / chain)
    assert solution.at("line")[1] == pytest.approx(line, rel=1e-14)
    assert solution.currents[1, 0] == pytest.approx(line / 100 + line / chain, rel=1e-14)


def test_other_values_than_nominal_are_broadcast_over_states() -> None:
    ohms = np.array([[[400.0, 75.0]], [[500.0, 75.0]], [[600.0, 50.0]]])
    out = divider().solve(BOTH, ohms).at("out")
    assert out.shape == (3, 2)
    assert out[:, 1] == pytest.approx([5 * 75 / 475, 5 * 75 / 575, 5 * 50 / 650], rel=1e-14)


@pytest.mark.parametrize(
    ("resistors", "drivers", "message"),
    [
        ((Resistor(a="p", b="q", ohms=1.0),), ("p", "q"), "joins the drivers"),
        ((Resistor(a="p", b="out", ohms=1.0),), ("p", "p"), "share a node"),
        ((Resistor(a="p", b="out", ohms=0.0),), ("p",), "must be more than 0"),
        ((Resistor(a="p", b="out", ohms=float("nan")),), ("p",), "must be more than 0"),
    ],
)
def test_refused(resistors: tuple[Resistor, ...], drivers: tuple[str, ...], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Network(resistors=resistors, drivers=tuple(Driver(node=node, high_volts=5.0) for node in drivers))


@given(st.lists(OHMS, min_size=3, max_size=6), OHMS, st.floats(min_value=0.0, max_value=1e3), st.data())
def test_currents_balance_and_power_is_spent(
    ohms: list[float], load: float, driver: float, data: st.DataObject
) -> None:
    """Kirchhoff's current law at the output, and Tellegen's theorem: what the supply gives, the resistors take."""
    state = np.array([data.draw(st.lists(st.booleans(), min_size=len(ohms), max_size=len(ohms)))])
    lines = [f"line{n}" for n in range(len(ohms))]
    network = Network(
        resistors=(
            *(Resistor(a=line, b="out", ohms=value) for line, value in zip(lines, ohms, strict=True)),
            Resistor(a="out", b=GROUND, ohms=load),
        ),
        drivers=tuple(Driver(node=line, high_volts=5.0, high_ohms=driver, low_ohms=driver / 2) for line in lines),
    )
    solution = network.solve(state)
    currents = solution.currents[0]
    out = solution.at("out")[0]
    # A current is a conductance times a difference of voltages of up to 5 V, each of them rounded.
    rounding = 8 * np.finfo(float).eps * 5.0 * sum(1 / r.ohms for r in network.resistors)
    assert currents.sum() == pytest.approx(out / load, rel=0, abs=rounding)
    given_power = 5.0 * currents[state[0]].sum()
    in_resistors = sum((solution.at(r.a)[0] - solution.at(r.b)[0]) ** 2 / r.ohms for r in network.resistors)
    in_drivers = (currents**2 * np.where(state[0], driver, driver / 2)).sum()
    assert given_power == pytest.approx(in_resistors + in_drivers, rel=0, abs=2 * 5.0 * rounding)
