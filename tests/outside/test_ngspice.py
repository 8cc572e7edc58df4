"""Random ladders against ngspice, an independent circuit simulator (the SPICE of U. C. Berkeley, continued)."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ladderlight.board import Channel, Ladder
from ladderlight.board.ladders.analysis import analyse
from ladderlight.board.model.ladder import all_states

LADDERS = 200
PER_DECK = 20
"""Ladders in one run: a run costs 40 ms, and longer for each element the more there are."""
AGREE = 1e-4
"""Volts."""


@dataclass(frozen=True)
class Case:
    """A ladder of one channel and what each of its resistors is, as the deck needs it."""

    supply: float
    load: float
    high: float
    low: float
    ohms: tuple[float, ...]
    rail: float | None

    @property
    def bits(self) -> int:
        return len(self.ohms)

    @property
    def ladder(self) -> Ladder:
        lines = {f"d{bit}": ohms for bit, ohms in enumerate(self.ohms)}
        return Ladder(
            supply=self.supply,
            load=self.load,
            driver_high=self.high,
            driver_low=self.low,
            channels=(Channel(name="red", resistors=lines, guns=(0,), r2r=self.rail),),
        )

    def elements(self, name: str, code: int) -> list[str]:
        """The circuit of one code: a source and a resistance for each driver, written without the product's help."""
        lines = []
        last = self.bits - 1
        for bit, ohms in enumerate(self.ohms):
            volts = self.supply if code >> bit & 1 else 0.0
            driver = self.high if code >> bit & 1 else self.low
            node = f"n{name}_{bit}" if self.rail is not None and bit < last else f"o{name}"
            lines += [
                f"V{name}_{bit} s{name}_{bit} 0 {volts!r}",
                f"R{name}_{bit} s{name}_{bit} {node} {ohms + driver!r}",
            ]
            if self.rail is not None and bit == 0:
                lines.append(f"RT{name} {node} 0 {2 * self.rail!r}")
            if self.rail is not None and bit < last:
                after = f"n{name}_{bit + 1}" if bit + 1 < last else f"o{name}"
                lines.append(f"RR{name}_{bit} {node} {after} {self.rail!r}")
        return [*lines, f"RL{name} o{name} 0 {self.load!r}"]


def random_case(rng: np.random.Generator, *, r2r: bool) -> Case:
    bits = int(rng.integers(1, 5))
    rail = round(float(rng.uniform(100, 1000)), 1) if r2r else None
    ohms = [round(float(np.exp(rng.uniform(np.log(100), np.log(20e3)))), 1) for _ in range(bits)]
    if rail is not None:
        ohms = [round(2 * rail * float(rng.uniform(0.8, 1.2)), 1)] * bits
    high = round(float(rng.choice([0.0, rng.uniform(5, 150)])), 1)
    return Case(
        supply=float(rng.choice([3.3, 5.0])),
        load=float(rng.choice([75.0, 150.0, 1000.0])),
        high=high,
        low=high if rng.random() < 0.5 else round(float(rng.uniform(5, 150)), 1),
        ohms=tuple(ohms),
        rail=rail,
    )


def run_deck(ngspice: str, folder: Path, elements: list[str], outputs: list[str]) -> dict[str, float]:
    """Solve one deck and read the printed node voltages."""
    deck = folder / "ladders.cir"
    prints = "\n".join(f"print v({output})" for output in outputs)
    deck.write_text("ladders\n" + "\n".join(elements) + f"\n.control\nset numdgt=12\nop\n{prints}\nquit\n.endc\n.end\n")
    ran = subprocess.run([ngspice, "-b", str(deck)], capture_output=True, text=True, check=True, timeout=120)
    return {name: float(value) for name, value in re.findall(r"v\((o\w+)\) = (\S+)", ran.stdout)}


def test_random_ladders(program: Callable[[str], str], tmp_path: Path) -> None:
    """200 ladders, weighted and R-2R, with all of their codes: every level within 0.1 mV."""
    ngspice = program("ngspice")
    rng = np.random.default_rng(20)
    cases = [random_case(rng, r2r=bool(number % 2)) for number in range(LADDERS)]
    compared, highest = 0, 0.0
    for start in range(0, LADDERS, PER_DECK):
        elements: list[str] = []
        expected: dict[str, float] = {}
        for number, case in enumerate(cases[start : start + PER_DECK]):
            states = all_states(case.bits).astype(np.int64)
            levels = {f"d{bit}": states[:, bit] for bit in range(case.bits)}
            for code, volts in enumerate(case.ladder.gun_volts(levels, len(states))[:, 0].tolist()):
                elements += case.elements(f"{number}_{code}", code)
                expected[f"o{number}_{code}"] = volts
        printed = run_deck(ngspice, tmp_path, elements, list(expected))
        assert sorted(printed) == sorted(expected)  # it exits with 0 even when it prints nothing
        for output, volts in expected.items():
            assert abs(printed[output] - volts) < AGREE, cases[start + int(output[1:].partition("_")[0])]
        compared += len(expected)
        highest = max(highest, *expected.values())
    assert compared == sum(1 << case.bits for case in cases)
    assert {case.rail is None for case in cases} == {True, False}
    assert any(case.high != case.low for case in cases)
    assert highest > 1.0


def test_shared_line_behind_drivers(program: Callable[[str], str], tmp_path: Path) -> None:
    """An intensity line through three resistors into three channels, 40 ohm drivers, all 16 states."""
    shared, own, driver = (1500.0, 1000.0, 1200.0), (680.0, 820.0, 470.0), 40.0
    ladder = Ladder(
        supply=5.0,
        driver_high=driver,
        driver_low=driver,
        channels=tuple(
            Channel(name=name, resistors={"i": shared[gun], name: own[gun]}, guns=(gun,))
            for gun, name in enumerate(("red", "green", "blue"))
        ),
    )
    assert ladder.lines == ("i", "red", "green", "blue")
    states = all_states(4)
    volts = ladder.gun_volts({line: states[:, i].astype(np.int64) for i, line in enumerate(ladder.lines)}, 16)
    elements, outputs = [], []
    for state in range(16):
        for line in range(4):
            elements.append(f"V{state}_{line} s{state}_{line} 0 {5.0 if state >> line & 1 else 0.0}")
            elements.append(f"RD{state}_{line} s{state}_{line} p{state}_{line} {driver}")
        for gun in range(3):
            elements += [
                f"RI{state}_{gun} p{state}_0 o{state}_{gun} {shared[gun]}",
                f"RO{state}_{gun} p{state}_{gun + 1} o{state}_{gun} {own[gun]}",
                f"RL{state}_{gun} o{state}_{gun} 0 75",
            ]
            outputs.append(f"o{state}_{gun}")
    printed = run_deck(program("ngspice"), tmp_path, elements, outputs)
    assert sorted(printed) == sorted(outputs)
    found = np.array([printed[output] for output in outputs]).reshape(16, 3)
    assert np.abs(found - volts).max() < AGREE


def test_random_ladders_that_share_a_line_without_a_monitor(program: Callable[[str], str], tmp_path: Path) -> None:
    """What a meter shows of each channel's codes: no load anywhere, the lines of the other channels low."""
    rng = np.random.default_rng(9)
    elements: list[str] = []
    expected: dict[str, float] = {}
    alone: dict[str, float] = {}
    for number in range(20):
        guns = int(rng.integers(2, 4))
        names = ("red", "green", "blue")[:guns]
        shared, own = (rng.uniform(300, 3000, guns).round(1) for _ in range(2))
        high, low, supply = float(rng.uniform(20, 150)), float(rng.uniform(20, 150)), float(rng.choice([3.3, 5.0]))
        ladder = Ladder(
            supply=supply,
            driver_high=high,
            driver_low=low,
            channels=tuple(
                Channel(name=name, resistors={"i": float(shared[gun]), name: float(own[gun])}, guns=(gun,))
                for gun, name in enumerate(names)
            ),
        )
        for gun, channel in enumerate(analyse(ladder).channels):
            for level in channel.levels:
                case = f"{number}_{gun}_{level.code}"
                up = {line for bit, line in enumerate(channel.lines) if level.code >> bit & 1}
                for line in ("i", *names):
                    elements.append(f"V{case}{line} s{case}{line} 0 {supply if line in up else 0.0}")
                    elements.append(f"RD{case}{line} s{case}{line} p{case}{line} {high if line in up else low!r}")
                for other, name in enumerate(names):
                    node = f"o{case}" if other == gun else f"x{case}{name}"
                    elements.append(f"RI{case}{name} p{case}i {node} {shared[other]}")
                    elements.append(f"RO{case}{name} p{case}{name} {node} {own[other]}")
                expected[f"o{case}"] = level.open_volts
                if up == {"i"}:
                    alone[f"o{case}"] = supply * (own[gun] + low) / (own[gun] + shared[gun] + low + high)
    printed = run_deck(program("ngspice"), tmp_path, elements, list(expected))
    assert sorted(printed) == sorted(expected)
    for output, volts in expected.items():
        assert abs(printed[output] - volts) < AGREE, output
    # The other channels load the shared line by far more than the tolerance of this check.
    assert len(alone) == len(expected) / 4
    assert min(volts - expected[output] for output, volts in alone.items()) > 50 * AGREE
