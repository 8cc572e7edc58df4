"""Ladders as plain values, and designed ones as the lines of a recipe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Any

from ladderlight.board.ladders.analysis import ChannelAnalysis, LadderAnalysis, analyse
from ladderlight.board.ladders.findings import ladder_findings
from ladderlight.board.model.ladder import GUNS, Ladder, mark_of
from ladderlight.errors import Finding

if TYPE_CHECKING:
    from ladderlight.board.ladders.design import Choice, Series
    from ladderlight.board.ladders.drawer import Drawer


def ladder_document(ladder: Ladder) -> dict[str, Any]:
    """Return a ladder's levels in volts, currents in milliamperes and power in milliwatts, as plain values."""
    analysis = analyse(ladder)
    return {
        "channels": [
            {"name": channel.name, "guns": list(channel.guns), "lines": list(channel.lines)} | _channel_figures(channel)
            for channel in analysis.channels
        ],
        **_loads(analysis),
    }


def design_document(
    sets: Sequence[Sequence[Choice]], series: Series | None = None, drawer: Drawer | None = None
) -> dict[str, Any]:
    """Return the best of some sets of ladders for red, green and blue as plain values, the others in brief.

    In full is the worst ladder of the best set; those of a series are alike. Resistances are in ohms, least significant
    bit first; levels in volts, by code; errors in millivolts, currents in milliamperes and power in milliwatts.
    Currents are those of one channel.
    """
    *_, best = sets[0]
    goal, others = best.goal, sets[1:]
    document = {
        "kind": "r2r" if best.rail else "weighted",
        "bits": goal.bits,
        "series": series,
        "supply_volts": goal.supply,
        "load_ohms": goal.load,
        "peak_volts": goal.peak,
        "driver_ohms": goal.driver,
        "tolerance": best.tolerance,
        "even": goal.even,
        **_choice(best),
        **_channel_figures(best.analysis.channels[0]),
        **_loads(best.analysis),
        "next_best": [_choice(choices[-1]) for choices in others],
        "recipe": recipe_of(sets[0]),
        "findings": [asdict(finding) for finding in findings_of(sets[0])],
    }
    if drawer:
        next_best = [_choice(choices[-1]) | {"channels": list(map(_choice, choices))} for choices in others]
        document |= {"have": str(drawer), "channels": list(map(_choice, sets[0])), "next_best": next_best}
    return document


def _channel_figures(channel: ChannelAnalysis) -> dict[str, Any]:
    spread = channel.spread
    return {
        "levels": [asdict(level) for level in channel.levels],
        "white_volts": channel.white,
        "white_within": channel.white_within,
        "max_error_mv": channel.max_error * 1e3,
        "monotonic": channel.monotonic,
        "surely_monotonic": channel.surely_monotonic,
        "max_dnl": channel.max_dnl,
        "max_inl": channel.max_inl,
        "spread": {name: list(value) if isinstance(value, tuple) else value for name, value in asdict(spread).items()}
        if spread
        else None,
    }


def _loads(analysis: LadderAnalysis) -> dict[str, Any]:
    return {
        "currents": {
            "drivers": [
                {"line": driver.line, "source_ma": driver.source * 1e3, "sink_ma": driver.sink * 1e3}
                for driver in analysis.drivers
            ],
            "supply_ma": analysis.supply_current * 1e3,
        },
        "power": [
            {"channel": part.channel, "part": part.part, "ohms": part.ohms, "mw": part.watts * 1e3}
            for part in analysis.resistors
        ],
    }


def findings_of(choices: Sequence[Choice]) -> list[Finding]:
    """Return the findings about ladders that are built for red, green and blue, as far as there are as many."""
    apart = [choice.ladder_of(*GUNS) for choice in choices]
    channels = tuple(ladder.channels[gun] for gun, ladder in enumerate(apart))
    return ladder_findings(replace(apart[0], channels=channels), guns=GUNS[: len(choices)])


def recipe_of(choices: Sequence[Choice]) -> str:
    """Return ladders as a recipe's table, for red, green and blue, as far as there are as many."""
    first = choices[0]
    goal = first.goal
    lines = [
        "[board.ladder]",
        f'supply = "{goal.supply:g} V"',
        f'load = "{goal.load:g} ohm"',
        f'peak = "{goal.peak:g} V"',
    ]
    if goal.driver:
        lines.append(f'driver = "{goal.driver:g} ohm"')
    if first.tolerance:
        lines.append(f'tolerance = "{first.tolerance * 100:g} %"')
    lines += [f"{name:5} = {_channel(choice, name[0])}" for name, choice in zip(GUNS, choices, strict=False)]
    marks = (mark for choice in choices for resistor in choice.resistors for mark in resistor.marks if "=" in mark)
    lines += [f"# {mark}: marked and measured" for mark in dict.fromkeys(marks)]
    if first.rail:
        rail, rung = first.rail.ohms, first.resistors[0]
        if rung.joined != "single":
            lines.append(f"# {rung.ohms:g} ohm: {rung}")
        lines.append(f"# from the first rung to ground {2 * rail:g} ohm: {mark_of(rail)} + {mark_of(rail)}")
    return "\n".join(lines) + "\n"


def _channel(choice: Choice, letter: str) -> str:
    if choice.rail is None:
        inputs = (f'{letter}{bit} = "{resistor.written}"' for bit, resistor in enumerate(choice.resistors))
        return "{ " + ", ".join(inputs) + " }"
    rung = choice.resistors[0]
    text = f'r2r = "{mark_of(choice.rail.ohms)}", '
    if rung.ohms != 2 * choice.rail.ohms:
        text += f'rung = "{rung}", '
    names = ", ".join(f'"{letter}{bit}"' for bit in range(choice.goal.bits))
    return "{ " + text + f"lines = [{names}]" + " }"


def _choice(choice: Choice) -> dict[str, Any]:
    return {
        "resistors": [resistor.ohms for resistor in choice.resistors],
        "parts": [str(resistor) for resistor in choice.resistors],
        "rail": choice.rail.ohms if choice.rail else None,
        "levels_volts": choice.volts.tolist(),
        "max_error_mv": choice.max_error * 1e3,
        "max_error_lightness": choice.max_lightness_error,
        "monotonic": choice.monotonic,
    }
