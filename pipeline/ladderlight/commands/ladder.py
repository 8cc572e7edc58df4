"""``ladderlight ladder``."""

from __future__ import annotations

from contextlib import contextmanager
from math import inf
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from ladderlight.commands.terminal.options import JsonOption, QuietOption
from ladderlight.commands.terminal.reporting import LineConsole, print_document, print_findings, stdout
from ladderlight.errors import UsageError
from ladderlight.units.words import joined

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from rich.table import Table

    from ladderlight.board.ladders.design import Choice

# As in ladderlight.board, which is imported only when the command runs.
_Series = Literal["E6", "E12", "E24", "E48", "E96", "E192"]
_Even = Literal["volts", "perceptual"]

_LEVELS = 78  # columns that the table of levels may take
_USUAL = 0.05  # tolerance of resistors in a drawer (common practice)


def ladder(
    *,
    bits: Annotated[int, typer.Option(min=1, max=8, metavar="NUMBER", help="Bits of one channel.")],
    supply: Annotated[str, typer.Option(metavar="VOLTS", help="Voltage of a high output.")] = "5 V",
    load: Annotated[str, typer.Option(metavar="OHMS", help="Resistance of the monitor's input.")] = "75 ohm",
    peak: Annotated[str, typer.Option(metavar="VOLTS", help="Voltage of full drive.")] = "0.7 V",
    series: Annotated[_Series | None, typer.Option(help="The series that the values are from; E24 by default.")] = None,
    have: Annotated[
        str | None,
        typer.Option(
            metavar="VALUES",
            help='The resistors at hand instead of a series: "220, 4 x 680, 1k5=1.49k" is any number of 220 ohm, four '
            "of 680 ohm, and one of 1.5 kohm that measures 1.49 kohm.",
        ),
    ] = None,
    channels: Annotated[
        int,
        typer.Option(min=1, max=3, metavar="NUMBER", help="With --have, how many channels to build from the drawer."),
    ] = 1,
    driver: Annotated[str, typer.Option(metavar="OHMS", help="Output resistance of the drivers.")] = "0 ohm",
    tolerance: Annotated[
        str | None,
        typer.Option(
            metavar="SHARE",
            help="Tolerance of the resistors, such as 5%; by default that of the series, and for --have 5%, or 0% if "
            "all are measured.",
        ),
    ] = None,
    r2r: Annotated[bool, typer.Option("--r2r", help="An R-2R ladder instead of a weighted one.")] = False,
    pairs: Annotated[
        bool, typer.Option("--pairs", help="Allow two resistors in series or in parallel for each bit.")
    ] = False,
    current_limit: Annotated[
        str | None, typer.Option(metavar="MILLIAMPERES", help="Highest current that one driver may source.")
    ] = None,
    even: Annotated[_Even, typer.Option(help="Whether steps are equal in voltage or in lightness.")] = "volts",
    non_monotonic: Annotated[
        bool, typer.Option("--non-monotonic", help="Allow ladders that are not monotonic.")
    ] = False,
    next_best: Annotated[
        int, typer.Option("--next", min=0, max=100, metavar="NUMBER", help="Number of next best choices to list.")
    ] = 10,
    json_: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Choose the resistors of a ladder, from a series or from a drawer.

    The best choice is shown in full, the next best in a list. Best is the smallest worst error against equal steps
    from 0 V to the peak; no other choice of values from 10 ohm to 1 Mohm has a smaller one. Quantities may carry
    units: "75 ohm", "0.7 V", 3k3, "8 mA".
    """
    if pairs and r2r:
        raise UsageError("cannot be used with --r2r; leave one of the two out", where="--pairs")
    if have is not None and (series is not None or r2r):
        other = "--r2r" if series is None else "--series"
        raise UsageError(f"cannot be used with {other}; leave one of the two out", where="--have")
    if have is None and channels > 1:
        raise UsageError("needs --have; a series has enough for any number of channels", where="--channels")
    share = None if tolerance is None else _quantity(tolerance, "%", "--tolerance")
    if share is not None and not 0 <= share < 1:
        raise UsageError(
            f"{tolerance!r} is {share * 100:.0f} %; write a share below 100 %, such as 5%", where="--tolerance"
        )
    volts, ohms = _positive(supply, "V", "--supply"), _positive(load, "ohm", "--load")
    white, behind = _positive(peak, "V", "--peak"), _quantity(driver, "ohm", "--driver")
    if not 0 <= behind < inf:
        raise UsageError(f"{driver!r} is out of range; give 0 ohm or more", where="--driver")
    limit = None if current_limit is None else _positive(current_limit, "A", "--current-limit", plain=1e-3)

    from ladderlight.board.ladders.design import TOLERANCES, design
    from ladderlight.board.ladders.drawer import design_from, read_drawer
    from ladderlight.board.ladders.report import design_document
    from ladderlight.board.ladders.search import Goal

    goal = Goal(
        bits=bits,
        supply=volts,
        load=ohms,
        peak=white,
        driver=behind,
        even=even,
        current_limit=limit,
        non_monotonic=non_monotonic,
    )
    drawer, name = None, series or "E24"
    if have is not None:
        with _misfits_of("--have"):
            drawer = read_drawer(have)
        if share is None:
            share = 0.0 if drawer.measured else _USUAL
        sets = design_from(goal, drawer, pairs=pairs, channels=channels, tolerance=share, alternatives=next_best)
    else:
        if share is None:
            share = TOLERANCES[name]
        choices = design(goal, name, pairs=pairs, r2r=r2r, tolerance=share, alternatives=next_best)
        sets = [(choice,) * 3 for choice in choices]
    if json_:
        print_document({"ok": True, **design_document(sets, None if drawer else name, drawer)})
    else:
        _print(stdout(quiet=quiet), sets, "the drawer" if drawer else name)


def _quantity(text: str, unit: str, option: str, *, plain: float = 1.0) -> float:
    """Read an option's quantity; a plain number is in units of ``plain``."""
    from ladderlight.units.parsing import quantity

    try:
        return float(text) * plain
    except ValueError:
        with _misfits_of(option):
            return quantity(text, unit)


@contextmanager
def _misfits_of(option: str) -> Iterator[None]:
    from ladderlight.units.parsing import MisfitError

    try:
        yield
    except MisfitError as error:
        raise UsageError(f"it {error}", where=option) from None


def _positive(text: str, unit: str, option: str, *, plain: float = 1.0) -> float:
    value = _quantity(text, unit, option, plain=plain)
    if not 0 < value < inf:
        raise UsageError(f"{text!r} is out of range; give more than 0 {unit}", where=option)
    return value


def _print(console: LineConsole, sets: Sequence[tuple[Choice, ...]], source: str) -> None:
    from ladderlight.board.ladders.report import findings_of, recipe_of

    best = sets[0]
    goal, rail = best[0].goal, best[0].rail
    kind = "R-2R" if rail else "weighted"
    console.print(f"{kind} ladder of {goal.bits} bit{'s' * (goal.bits > 1)} from {source}", style="bold")
    drivers = f"drivers of {goal.driver:g} ohm" if goal.driver else "ideal drivers"
    console.print(f"{goal.supply:g} V into {goal.load:g} ohm, peak {goal.peak:g} V, {drivers}")
    for choice, channels in _by_choice(best):
        console.print()
        if len(channels) < len(best):
            console.print(f"channel{'s' * (len(channels) > 1)} {joined(channels)}", style="bold")
        console.print(_resistors(choice), "")
        for table in _levels(choice, console.columns):
            console.print(table, "")
        _print_summary(console, choice)
    if len(sets) > 1:
        console.print("", _others(sets[1:]))
    console.print()
    print_findings(console, findings_of(best))
    console.print("", "for the recipe", style="bold")
    lines = recipe_of(best).splitlines()
    console.print(*lines, whole=lines)


def _by_choice(choices: Sequence[Choice]) -> list[tuple[Choice, list[str]]]:
    """Return each ladder once, with the numbers of the channels that have it, from 1."""
    channels: dict[str, list[str]] = {}
    for number, choice in enumerate(choices, start=1):
        channels.setdefault(_parts(choice), []).append(f"{number}")
    return [(choices[int(numbers[0]) - 1], numbers) for numbers in channels.values()]


def _resistors(best: Choice) -> Table:
    rows, analysis = [], best.analysis
    dissipation = {part.part: part.watts for part in analysis.resistors}
    for bit, (resistor, driver) in reversed(list(enumerate(zip(best.resistors, analysis.drivers, strict=True)))):
        own = [f"{1e3 * watts:.1f}" for part, watts in dissipation.items() if part.partition(" ")[0] == driver.line]
        currents = (f"{driver.source * 1e3:.2f} mA", f"{driver.sink * 1e3:.2f} mA")
        rows.append((f"{bit}", str(resistor), f"{resistor.ohms:.6g}", *currents, f"{' and '.join(own)} mW"))
    if best.rail:
        rail = max((watts for part, watts in dissipation.items() if part.startswith("rail")), default=0.0)
        rows.append(("rails", str(best.rail), f"{best.rail.ohms:g}", "", "", f"{rail * 1e3:.1f} mW"))
        ends, watts = f"{best.rail} + {best.rail}", f"{dissipation['termination'] * 1e3:.1f} mW"
        rows.append(("to ground", ends, f"{2 * best.rail.ohms:g}", "", "", watts))
    return _table(("bit", "resistor", "ohms", "sources", "sinks", "dissipates"), rows, right=range(2, 6))


def _levels(best: Choice, width: int | None) -> list[Table]:
    """Return the table of levels, in two where the terminal is too narrow for one."""
    (channel,) = best.analysis.channels
    within = [f"within {best.tolerance * 100:g} %"] if best.tolerance else []
    titles = ["code", "volts", "ideal", "error", "DNL", "INL", *within, "sRGB"]
    rows = [
        [
            *(f"{level.code}", f"{level.volts:.4f}", f"{level.ideal:.4f}", f"{level.error * 1e3:+.2f} mV"),
            *("" if level.dnl is None else f"{level.dnl:+.3f}", f"{level.inl:+.3f}"),
            *([f"{level.lowest:.4f} to {level.highest:.4f}"] if within else []),
            f"{level.srgb}",
        ]
        for level in channel.levels
    ]
    split = width is not None and width < _LEVELS
    parts = ([0, 1, 2, 3], [0, *range(4, len(titles))]) if split else (range(len(titles)),)
    return [
        _table([titles[at] for at in part], ([row[at] for at in part] for row in rows), right=range(len(part)))
        for part in parts
    ]


def _print_summary(console: LineConsole, best: Choice) -> None:
    (channel,) = best.analysis.channels
    order = "monotonic" if channel.monotonic else "not monotonic"
    if channel.monotonic and best.tolerance:
        order += " at all values within tolerance" if channel.surely_monotonic else " at nominal values only"
    console.print(
        f"worst error {best.max_error * 1e3:.2f} mV, {best.max_lightness_error:.2f} of 100 in lightness; "
        f"white {channel.white:.4f} V; {order}; supply up to {best.analysis.supply_current * 1e3:.1f} mA a channel"
    )
    if channel.spread:
        console.print(
            f"of {channel.spread.samples:,} ladders drawn within tolerance, {channel.spread.monotonic * 100:.1f} % are "
            f"monotonic, and {channel.spread.white_within * 100:.1f} % have their white within 0.665 to 0.770 V"
        )


def _others(sets: Sequence[tuple[Choice, ...]]) -> Table:
    rows = []
    for rank, choices in enumerate(sets, start=2):
        parts, worst = "; ".join(_parts(choice) for choice, _ in _by_choice(choices)), choices[-1]
        rows.append((f"{rank}", parts, f"{worst.max_error * 1e3:.2f} mV", f"{worst.max_lightness_error:.2f}"))
    heads = ("next best", "resistors, most significant first", "worst error", "lightness")
    table = _table(heads, rows, right=(2, 3))
    table.columns[1].no_wrap = False  # two lines are better than a value that is cut off
    table.columns[1].overflow = "fold"
    return table


def _parts(choice: Choice) -> str:
    if choice.rail:
        return f"R {choice.rail}, 2R {choice.resistors[0]}"
    return ", ".join(str(resistor) for resistor in reversed(choice.resistors))


def _table(heads: Iterable[str], rows: Iterable[Iterable[str]], *, right: range | tuple[int, ...]) -> Table:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, 1))
    for position, head in enumerate(heads):
        table.add_column(head, justify="right" if position in right else "left", no_wrap=True)
    for row in rows:
        table.add_row(*row)
    return table
