"""Findings about a ladder before it is built, each with a remedy."""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import isinf

from ladderlight.board.ladders.analysis import ChannelAnalysis, LadderAnalysis, analyse
from ladderlight.board.ladders.tolerance import WHITE_HIGH, WHITE_LOW
from ladderlight.board.model.board import Board
from ladderlight.board.model.ladder import GUNS, Ladder
from ladderlight.board.model.palette import Palette, palette_of
from ladderlight.errors import Finding, Level, ranked
from ladderlight.units.words import in_words, joined

LOGIC_LIMIT = 25e-3
"""Absolute maximum of most logic outputs, in amperes (common practice; the datasheet's absolute maximum rules)."""
LOGIC_RATED = 6e-3
"""Amperes up to which logic datasheets specify the output voltage (common practice: 4 to 6 mA)."""
MEMORY_RATED = 2e-3
"""Amperes up to which memory datasheets specify the output voltage (from memory: 0.4 mA high, 2.1 mA low)."""
SMALL_RESISTOR = 0.125
"""Rating of a small resistor in watts (common practice)."""
_SEEN = 0.5e-3  # volts that messages round to
_SHOWN = 1 / 255  # share of the peak below which two levels look alike: one step of an 8-bit sRGB picture


def ladder_findings(subject: Ladder | Board, guns: Sequence[str] = GUNS) -> list[Finding]:
    """Return the findings about a ladder, or that of a board with its drivers; ``guns`` are those to be fed."""
    if isinstance(subject, Board):
        ladder, palette = subject.ladder, subject.palette
        direct = {name for memory in subject.memories if memory.output == "direct" for name in memory.data}
    else:
        ladder, palette, direct = subject, palette_of(subject, subject.lines), set()
    analysis = analyse(ladder)
    found = [
        *_guns(ladder, guns),
        *(finding for channel in analysis.channels for finding in _channel(ladder, channel)),
        *_drivers(ladder, analysis, direct),
        *_power(analysis),
        *_coincident(palette, analysis),
        *_open(ladder, analysis),
    ]
    return ranked(_joined(found))


def _joined(found: list[Finding]) -> list[Finding]:
    """Join findings that differ in the channel alone."""
    places: dict[tuple[Level, str, str], list[str]] = {}
    for finding in found:
        kind, _, place = finding.where.partition(" ")
        places.setdefault((finding.level, kind, finding.message), []).append(place)
    return [
        Finding(level=level, where=f"{kind} {joined(names)}".strip(), message=message)
        for (level, kind, message), names in places.items()
    ]


def _guns(ladder: Ladder, wanted: Sequence[str]) -> Iterator[Finding]:
    for gun, name in enumerate(GUNS):
        feeding = [channel.name for channel in ladder.channels if gun in channel.guns]
        if len(feeding) > 1:
            message = f"channels {joined(feeding)} feed {name}; let one channel feed each gun"
            yield Finding.error(f"ladder {feeding[1]}", message)
        if not feeding and name in wanted:
            yield Finding.note("ladder", f"nothing feeds {name}; ground that input or give it a channel")


def _channel(ladder: Ladder, channel: ChannelAnalysis) -> Iterator[Finding]:
    where = f"ladder {channel.name}"
    yield from _white(ladder, channel, where)
    if channel.black > 0.5 * _SHOWN * ladder.peak:
        yield Finding.caution(
            where,
            f"black is {_volts(channel.black)}, not 0 V, so dark parts glow; "
            "drive the ladder from outputs that pull to ground (CMOS)",
        )
    if not channel.monotonic:
        first = next(level for level in channel.levels[1:] if (level.step or 0.0) <= 0)
        yield Finding.caution(
            where,
            f"code {first.code} ({_volts(first.volts)}) is not brighter than code {first.code - 1}; "
            f"choose other resistors with ladderlight ladder --bits {len(channel.lines)}",
        )
    elif not channel.surely_monotonic and channel.spread is not None:
        share = 1 - channel.spread.monotonic
        yield Finding.note(
            where,
            f"monotonic at nominal values only: {share * 100:.1f} % of {channel.spread.samples:,} ladders "
            f"drawn with {ladder.tolerance * 100:.3g} % resistors are not; use a closer tolerance or select resistors",
        )
    coupled = max(channel.levels, key=lambda level: abs(level.crosstalk))
    if abs(coupled.crosstalk) > _SHOWN * ladder.peak:
        yield Finding.note(
            where,
            f"other channels raise code {coupled.code} by {_volts(coupled.crosstalk)} through shared drivers; "
            "use drivers of less resistance there",
        )


def _white(ladder: Ladder, channel: ChannelAnalysis, where: str) -> Iterator[Finding]:
    standard = f"{WHITE_LOW:.3f} to {WHITE_HIGH:.3f} V"
    top = channel.levels[-1]
    if not channel.white_within:
        low = channel.white < WHITE_LOW
        effect = "the picture is dim" if low else "bright colours run together"
        yield Finding.caution(
            where,
            f"white is {_volts(channel.white)}, too {'low' if low else 'high'} ({standard} is standard): "
            f"{effect}; {_scaling(ladder, channel)}",
        )
    elif channel.spread is not None and (top.lowest < WHITE_LOW - _SEEN or top.highest > WHITE_HIGH + _SEEN):
        yield Finding.note(
            where,
            f"the resistors' tolerance lets white be {_volts(top.lowest)} to {_volts(top.highest)}, partly "
            f"outside {standard}; use a closer tolerance",
        )


def _scaling(ladder: Ladder, channel: ChannelAnalysis) -> str:
    """Return by how much all resistors must change for white to be the peak, as an imperative.

    The ladder with all lines high is a source behind one resistance (Thevenin), v = V R_L / (R_L + R), whose V is what
    it gives without a load: the supply, or less where an R-2R ladder has a resistor to ground.
    """
    load = ladder.load / len(channel.guns)
    white, source = channel.white, channel.open_white
    if isinf(load) or white <= 0 or source <= ladder.peak:
        return "check the supply and the load"
    drivers = 0.0 if isinf(ladder.driver_high) else ladder.driver_high / max(len(channel.lines), 1)
    now = load * (source / white - 1) - drivers
    wanted = load * (source / ladder.peak - 1) - drivers
    if now <= 0 or wanted <= 0:
        return "use drivers of less resistance"
    factor = wanted / now
    if factor < 0.1:
        return f"divide the resistors by about {1 / factor:.0f}"
    return f"multiply the resistors by about {factor:.2f}"


def _drivers(ladder: Ladder, analysis: LadderAnalysis, direct: set[str]) -> Iterator[Finding]:
    over = [(max(d.source, d.sink), d.line) for d in analysis.drivers]
    if worst := [item for item in over if item[0] > LOGIC_LIMIT]:
        yield Finding.caution(
            _lines(worst),
            f"outputs would drive up to {_amperes(max(worst)[0])}, above the absolute maximum of most logic "
            f"({_amperes(LOGIC_LIMIT)}); use larger resistors, or drivers whose datasheet allows it",
        )
        return
    if loaded := [item for item in over if item[1] in direct and item[0] > MEMORY_RATED]:
        yield Finding.caution(
            _lines(loaded),
            f"memory outputs would drive up to {_amperes(max(loaded)[0])}, above their rating (commonly "
            f"{_amperes(MEMORY_RATED)}); add a register or buffer whose datasheet specifies that current",
        )
        over = [item for item in over if item[1] not in direct]
    if strong := [item for item in over if item[0] > LOGIC_RATED]:
        ideal = ladder.driver_high == ladder.driver_low == 0
        yield Finding(
            level="caution" if ideal else "note",
            where=_lines(strong),
            message=f"outputs would drive up to {_amperes(max(strong)[0])}, above the {_amperes(LOGIC_RATED)} at which "
            "logic datasheets specify the output voltage; "
            + ("give the drivers' resistance, or use larger resistors" if ideal else "see the drivers' datasheet"),
        )


def _power(analysis: LadderAnalysis) -> Iterator[Finding]:
    hot = [resistor for resistor in analysis.resistors if resistor.watts > SMALL_RESISTOR]
    if hot:
        worst = max(hot, key=lambda resistor: resistor.watts)
        yield Finding.caution(
            f"ladder {worst.channel}",
            f"the {worst.ohms:g} ohm resistor of {worst.part} dissipates {worst.watts * 1e3:.0f} mW; "
            "use a resistor rated for at least twice as much",
        )


def _coincident(palette: Palette, analysis: LadderAnalysis) -> Iterator[Finding]:
    for channel in analysis.channels:
        order = sorted(channel.levels, key=lambda level: level.drive)
        alike = [(a.code, b.code) for a, b in pairwise(order) if b.drive - a.drive < _SHOWN]
        if alike:
            first = joined([str(code) for code in sorted(alike[0])])
            more = f" and {len(alike) - 1} more pairs" if len(alike) > 1 else ""
            message = f"codes {first}{more} look alike; choose other resistors to gain levels"
            yield Finding.note(f"ladder {channel.name}", message)
    distinct = len({colour.tobytes() for colour in palette.srgb8})
    if distinct < len(palette):
        message = f"{len(palette)} codes show {distinct} different colours; codes of one colour are interchangeable"
        yield Finding.note("ladder", message)


def _open(ladder: Ladder, analysis: LadderAnalysis) -> Iterator[Finding]:
    highest = max((channel.open_white for channel in analysis.channels), default=0.0)
    if highest > 2 * WHITE_HIGH and not isinf(ladder.load):
        message = f"unloaded outputs read up to {_volts(highest)}; measure into {in_words(ladder.load, 'ohm')}"
        yield Finding.note("ladder", message)


def _lines(items: list[tuple[float, str]]) -> str:
    return ("line " if len(items) == 1 else "lines ") + joined([line for _, line in items])


def _volts(value: float) -> str:
    return f"{value:.3f} V"


def _amperes(value: float) -> str:
    return in_words(value, "A", digits=3)
