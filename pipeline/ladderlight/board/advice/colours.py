"""Findings about the colours: how many differ, how black is black, how white is white, what the drivers carry."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ladderlight.board.board import Board
from ladderlight.board.findings import Finding
from ladderlight.board.ladder import GUNS
from ladderlight.board.quantities import joined

WHITE_VOLTS = (0.665, 0.770)
"""White level at the monitor, VESA Video Signal Standard: 0.700 V, +0.070 V, -0.035 V."""

DRIVER_AMPERES = 6e-3
"""What an output of 74HC logic is commonly specified for (common practice; the datasheet rules)."""


def findings(board: Board) -> Iterator[Finding]:
    """Say what is odd about the palette."""
    yield from _levels(board)
    yield from _coinciding(board)
    yield from _currents(board)


def _levels(board: Board) -> Iterator[Finding]:
    volts = board.palette.volts
    low, high = WHITE_VOLTS
    fed = {gun for channel in board.ladder.channels for gun in channel.guns}
    for gun, name in enumerate(GUNS):
        white, black = float(volts[:, gun].max()), float(volts[:, gun].min())
        if gun not in fed:
            yield Finding(
                level="note",
                where=f"ladder {name}",
                message=f"nothing feeds {name}; wire its input to ground or give it a ladder",
            )
            continue
        if not low <= white <= high:
            yield Finding(
                level="caution",
                where=f"ladder {name}",
                message=f"full {name} is {white:.3f} V at the monitor, outside {low:.3f} to {high:.3f} V; use "
                f"{'larger' if white > high else 'smaller'} resistors",
            )
        if black > 1e-3:
            yield Finding(
                level="caution",
                where=f"ladder {name}",
                message=f"the lowest {name} is {black:.3f} V, not 0 V, so that black is not black; see that low "
                "outputs pull to ground",
            )


def _coinciding(board: Board) -> Iterator[Finding]:
    colours = np.unique(board.palette.srgb8, axis=0)
    codes = len(board.palette)
    if len(colours) < codes:
        yield Finding(
            level="note",
            where="palette",
            message=f"{codes} codes give {len(colours)} different colours; change resistors of the same value, or save "
            "the data pins",
        )


def _currents(board: Board) -> Iterator[Finding]:
    most: dict[str, float] = {}
    for channels, lines in board.ladder.groups():
        currents = np.abs(board.ladder.solve_group(channels, lines).currents).max(axis=0)
        most.update(zip(lines, map(float, currents), strict=True))
    for memory in board.memories:
        loads = {line: most[line] for line in memory.data if line in most}
        if not loads:
            continue
        line = max(loads, key=loads.__getitem__)
        amperes = f"{loads[line] * 1e3:.1f} mA"
        if memory.output == "direct":
            yield Finding(
                level="note",
                where=f"memory {memory.name}",
                message=f"its outputs drive the ladders with up to {amperes} (line {line}), which memories are not "
                "specified for; put a register or a buffer between memory and ladder",
            )
        if loads[line] > DRIVER_AMPERES:
            over = [name for name, load in loads.items() if load > DRIVER_AMPERES]
            yield Finding(
                level="caution",
                where="ladder",
                message=f"the drivers of {joined(over)} carry up to {amperes}, more than the {DRIVER_AMPERES * 1e3:g} "
                "mA of common logic; use stronger buffers or outputs in parallel, and see their datasheet",
            )
