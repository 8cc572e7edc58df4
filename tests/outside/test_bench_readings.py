"""Readings of a bench sheet against ngspice, an independent circuit simulator, at nominal values and at the limits.

Each reading is a deck of its own elements: sources behind the drivers' resistance, and the resistors; with the
monitor's 75 ohm and without. At the limits every corner of the tolerance is solved; the extremes must be the sheet's.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable, Iterator
from itertools import product
from pathlib import Path

import pytest

from ladderlight.bench.connector import readings_of
from ladderlight.board import Board, Channel, Ladder

AGREE = 1e-4
"""Volts."""
TOLERANCE = 0.05
CHANNELS = {
    "plain": {"red": {"a": 1600.0, "b": 750.0}, "green": {"c": 470.0}},
    "shared": {"red": {"i": 1800.0, "r": 560.0}, "green": {"i": 1500.0, "g": 620.0}},
}


@pytest.mark.parametrize("kind", sorted(CHANNELS))
def test_readings(make_board, memory, program: Callable[[str], str], tmp_path: Path, kind: str) -> None:
    channels = CHANNELS[kind]
    ladder = Ladder(
        supply=3.3,
        channels=tuple(Channel(name=n, resistors=r, guns=(gun,)) for gun, (n, r) in enumerate(channels.items())),
        driver_high=45.0,
        driver_low=35.0,
        tolerance=TOLERANCE,
    )
    data = list(ladder.lines)
    board: Board = make_board(memory(address=["x3-x9", "y3-y8"], data=data, part="27C256"), ladder=ladder)
    elements: list[str] = []
    for number, reading in enumerate(readings_of(board)):
        for load, corner, ends in cases(channels):
            name = f"{number}_{load}_{corner}"
            elements += deck(name, channels, data, reading.high, load, dict(ends))
            elements.append(f"* {name}")
    printed = solve(program("ngspice"), tmp_path, elements, channels)
    compared = 0
    for number, reading in enumerate(readings_of(board)):
        for load, volts in ((1, reading.loaded), (0, reading.unloaded)):
            of = {
                corner: printed[f"o{number}_{load}_{corner}_{reading.channel}"]
                for at, corner, _ in cases(channels)
                if at == load
            }
            assert volts is not None
            assert abs(of[0] - volts.nominal) < AGREE, (reading, load)
            assert abs(min(of.values()) - volts.lowest) < AGREE, (reading, load)
            assert abs(max(of.values()) - volts.highest) < AGREE, (reading, load)
            compared += 1
    assert compared == 2 * len(readings_of(board)) >= 14
    assert max(printed.values()) > 3.2


def cases(channels: dict[str, dict[str, float]]) -> Iterator[tuple[int, int, list[tuple[tuple[str, str], float]]]]:
    """With and without the monitor: all nominal as corner 0, then each corner of the tolerance."""
    resistors = [(name, line) for name, lines in channels.items() for line in lines]
    for load in (1, 0):
        yield load, 0, [(resistor, 1.0) for resistor in resistors]
        for corner, ends in enumerate(product((1 - TOLERANCE, 1 + TOLERANCE), repeat=len(resistors)), start=1):
            yield load, corner, list(zip(resistors, ends, strict=True))


def deck(
    name: str,
    channels: dict[str, dict[str, float]],
    lines: list[str],
    high: tuple[str, ...],
    load: int,
    ends: dict[tuple[str, str], float],
) -> list[str]:
    found = []
    for line in lines:
        volts, driver = (3.3, 45.0) if line in high else (0.0, 35.0)
        found += [f"V{name}{line} s{name}{line} 0 {volts}", f"RD{name}{line} s{name}{line} p{name}{line} {driver}"]
    for channel, resistors in channels.items():
        for line, ohms in resistors.items():
            found.append(f"R{name}{channel}{line} p{name}{line} o{name}_{channel} {ohms * ends[channel, line]!r}")
        if load:
            found.append(f"RL{name}{channel} o{name}_{channel} 0 75")
    return found


def solve(ngspice: str, folder: Path, elements: list[str], channels: dict[str, dict[str, float]]) -> dict[str, float]:
    """Solve the decks, some at a time, and read the printed voltages of the outputs."""
    printed: dict[str, float] = {}
    batch: list[str] = []
    names: list[str] = []
    for element in elements:
        batch.append(element)
        if element.startswith("* "):
            names.append(element[2:])
        if element == elements[-1] or (element.startswith("* ") and len(names) == 40):
            prints = "\n".join(f"print v(o{name}_{channel})" for name in names for channel in channels)
            file = folder / "readings.cir"
            file.write_text(
                "readings\n" + "\n".join(batch) + f"\n.control\nset numdgt=12\nop\n{prints}\nquit\n.endc\n.end\n"
            )
            ran = subprocess.run([ngspice, "-b", str(file)], capture_output=True, text=True, check=True, timeout=120)
            found = re.findall(r"v\((o\w+)\) = (\S+)", ran.stdout)
            assert len(found) == len(names) * len(channels)  # it exits with 0 even when it prints nothing
            printed.update((key, float(value)) for key, value in found)
            batch, names = [], []
    return printed
