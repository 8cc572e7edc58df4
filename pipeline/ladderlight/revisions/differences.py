"""What differs between two revisions: parts, wiring, colours, timing, chips and pictures, as values, text and page."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from ladderlight.bench.sheets.document import Bench, bench_of
from ladderlight.board import Board, Finding
from ladderlight.board.scanning.timing import timings
from ladderlight.engine.trays import folder_of, place_in
from ladderlight.errors import LadderlightError
from ladderlight.proof.screens import data_url
from ladderlight.proof.templating import fill
from ladderlight.recipe import Recipe
from ladderlight.system.frozen import Frozen
from ladderlight.workspace.burned import burn_of, chip_of
from ladderlight.workspace.last_build import LastBuild, last_build
from ladderlight.workspace.recorded import key_of

V = TypeVar("V")
Key = tuple[str | int, ...]
"""What a row is of."""
Pair = tuple[V | None, V | None]
"""A value of the first revision and of the second; None where one has none."""
Place = tuple[int | None, int]
"""Tray and bank."""
Slot = tuple[int | None, str]
"""Tray and device."""
_MOST_COLOURS = 16


class Side(Frozen):
    """A revision with all that is compared of it."""

    recipe: Recipe

    @property
    def name(self) -> str:
        """The revision's name."""
        return str(self.recipe.revision)

    @cached_property
    def bench(self) -> Bench:
        """The bench sheet of its board."""
        return bench_of(self.recipe.board, self.recipe.findings)

    @cached_property
    def build(self) -> LastBuild | None:
        """Its last build, if there is one that can be read."""
        try:
            return last_build(self.recipe.output, self.recipe.board, self.recipe.owner)
        except LadderlightError:
            return None

    @cached_property
    def _screens(self) -> dict[Place, str]:
        """The file of each tray's and bank's screen in the output folder, as far as the build names it."""
        shown = self.build.manifest["pictures"] if self.build else ()
        return {(each.get("tray"), each["bank"]): each["screen"] for each in shown if each.get("screen")}

    @property
    def pictures(self) -> dict[str, Place]:
        """Tray and bank of each picture of the build, by name; the first of several banks."""
        found: dict[str, Place] = {}
        for picture in self.build.manifest["pictures"] if self.build else ():
            found.setdefault(picture["name"], (picture.get("tray"), picture["bank"]))
        return found

    def screen(self, place: Place) -> Path:
        """Return the proof of a tray and bank."""
        usual = f"proof/{folder_of(place[0])}screens/bank{place[1]}.png"  # of builds that do not name it
        return self.recipe.output / self._screens.get(place, usual)


class Table(Frozen):
    """Rows that differ: each with what it is of, the first revision's value and the second's, None for neither."""

    name: str
    heading: str
    keys: Mapping[str, str]
    """The names of what a row is of among plain values, and as headings of columns."""
    label: str
    """How a row is named in a text."""
    rows: Mapping[Key, Pair[object]]
    form: str = "{}"

    def shown(self, value: object) -> str:
        """Return a value in words."""
        return "none" if value is None else self.form.format(value)


class Differences(Frozen):
    """What differs between two revisions of a recipe. Rows that are the same on both sides are left out."""

    first: Side
    second: Side
    tables: Sequence[Table]
    chips: Mapping[Slot, str]
    """What to do with each chip of the first revision's build for that of the second; empty without both builds."""
    pictures: Mapping[str, Pair[Place]]
    """Tray and bank of every picture of both builds, by name."""

    @property
    def findings(self) -> list[Finding]:
        """A note for each revision without a build."""
        message = "no build to compare; run ladderlight build first"
        sides = (self.first, self.second)
        return [Finding.note(f"revision {side.name}", message) for side in sides if side.build is None]


def differences_of(first: Side, second: Side) -> Differences:
    """Compare two revisions, as far as both are built their builds too."""
    boards = first.recipe.board, second.recipe.board
    names = {**first.pictures, **second.pictures}
    parts, pins = (_differing(map(of, (first, second))) for of in (_parts, _pins))
    figures, timing, colours = (_differing(map(of, boards)) for of in (_figures, _timing, _colours))
    kinds, times = {"what": "Part", "value": "Value"}, {"memory": "Memory", "figure": "Time"}
    tables = (
        Table(name="parts", heading="parts to buy", keys=kinds, label="{}, {}", rows=parts),
        Table(name="wiring", heading="wiring", keys={"device": "Device", "pin": "Pin"}, label="{} {}", rows=pins),
        Table(name="figures", heading="board", keys={"name": "Figure"}, label="{}", rows=figures),
        Table(name="timing", heading="timing", keys=times, label="{} {}", rows=timing, form="{:.2f} ns"),
        Table(name="colours", heading="colours", keys={"code": "Code"}, label="code {}", rows=colours),
    )
    return Differences(
        first=first,
        second=second,
        tables=tables,
        chips=dict(_chips(first, second)),
        pictures={name: (first.pictures.get(name), second.pictures.get(name)) for name in names},
    )


def document_of(found: Differences) -> dict[str, object]:
    """Return the differences as plain values; of two values the first revision's comes first."""
    names = (found.first.name, found.second.name)

    def both(pair: Pair[object]) -> dict[str, object]:
        return dict(zip(names, pair, strict=True))

    return {
        "revisions": list(names),
        **{
            table.name: [dict(zip(table.keys, key, strict=True)) | both(pair) for key, pair in table.rows.items()]
            for table in found.tables
        },
        "chips": [
            {"device": device} | ({} if tray is None else {"tray": tray}) | {"verdict": text}
            for (tray, device), text in found.chips.items()
        ],
        "pictures": [
            {"name": name, **both((_place(pair[0]), _place(pair[1])))} for name, pair in found.pictures.items()
        ],
    }


def _place(place: Place | None) -> dict[str, int] | None:
    if place is None:
        return None
    tray, bank = place
    return {"bank": bank} if tray is None else {"tray": tray, "bank": bank}


def _differing(sides: Iterable[Iterable[tuple[Key, object]]]) -> dict[Key, Pair[object]]:
    first, second = map(dict, sides)
    pairs = {key: (first.get(key), second.get(key)) for key in {**first, **second}}
    return {key: pair for key, pair in pairs.items() if pair[0] != pair[1]}


def _parts(side: Side) -> Iterable[tuple[Key, int]]:
    tally: Counter[Key] = Counter()
    for part in side.bench.parts:
        tally[part.what.partition(",")[0], part.value] += part.quantity
    return tally.items()


def _pins(side: Side) -> Iterator[tuple[Key, str]]:
    wiring, alike = side.bench.wiring, Counter[str]()
    for chip in wiring.sockets:
        alike[chip.part] += 1
        logic = f"{chip.part} ({alike[chip.part]})" if alike[chip.part] > 1 else chip.part
        name = chip.device or ("connector" if chip is wiring.connector else logic)
        for pin in chip.pins:
            number = "" if pin.number is None else f" at pin {pin.number}"
            yield (name, pin.name), f"{pin.line or 'not connected'}{number}"


def _chips(first: Side, second: Side) -> Iterator[tuple[Slot, str]]:
    if first.build is None or second.build is None:
        return
    numbers = dict.fromkeys((*first.build.numbers(), *second.build.numbers()))
    for number in sorted(numbers, key=lambda number: number or 0):
        trays = [build.tray(number) if number in build.numbers() else None for build in (first.build, second.build)]
        devices = [
            {device.name: device for device in side.recipe.board.devices} if tray else {}
            for side, tray in zip((first, second), trays, strict=True)
        ]
        for name in {**devices[0], **devices[1]}:
            before, after = devices[0].get(name), devices[1].get(name)
            if after is None:
                yield (number, name), f"only in revision {first.name}"
            elif before is None:
                yield (number, name), f"only in revision {second.name}; a new {after.part.number} is needed"
            elif trays[0] and trays[1]:
                chip = chip_of(key_of(first.recipe), before, trays[0].images[name])
                burn = burn_of(chip, after, trays[1].images[name], against=f"revision {first.name}")
                yield (number, name), burn.text if burn.needed else "the same; no need to burn it"


def _colours(board: Board) -> Iterator[tuple[Key, str]]:
    for code in range(len(board.palette)):
        yield (code,), board.palette.hex_of(code)


def _figures(board: Board) -> Iterator[tuple[Key, object]]:
    raster, palette = board.raster, board.palette
    figures = {
        "picture": f"{board.geometry.width} x {board.geometry.height}",
        "pixel aspect": round(board.geometry.pixel_aspect, 4),
        "banks": board.bank_count,
        "mode": raster.mode.name,
        "clock": f"{float(raster.clock) / 1e6:.7g} MHz",
        "line rate": f"{float(raster.line_rate) / 1e3:.3f} kHz",
        "frame rate": f"{float(raster.frame_rate):.2f} Hz",
        "blanking": board.blanking,
        "blanking delay": board.counters.blanking_delay,
        "codes": len(palette),
        "colours": len(np.unique(palette.srgb8, axis=0)),
        "brightest": f"{palette.volts.max():.3f} V",
    }
    for name, figure in figures.items():
        yield (name,), figure


def _timing(board: Board) -> Iterator[tuple[Key, float | None]]:
    for memory, timing in timings(board).items():
        for name, seconds in (("hold_ns", timing.hold), ("access_ns", timing.access), ("margin_ns", timing.margin)):
            yield (memory, name), None if seconds is None else round(seconds * 1e9, 3)


def differences_text(found: Differences) -> Iterator[str]:
    """Yield the lines of a report: a heading for each kind, the first revision's value before the second's."""
    yield f"revision {found.first.name} -> revision {found.second.name}"
    for table in found.tables:
        yield f"{table.heading}:" if table.rows else f"{table.heading}: the same"
        most = _MOST_COLOURS if table.name == "colours" else len(table.rows)
        rows = [(table.label.format(*key).removesuffix("_ns"), pair) for key, pair in table.rows.items()][:most]
        width = max((len(label) for label, _ in rows), default=0)
        for label, pair in rows:
            yield f"  {label:{width}}  {' -> '.join(map(table.shown, pair))}"
        if len(table.rows) > most:
            yield f"  and {len(table.rows) - most:,} more; --json lists all"
    if found.chips:
        yield "chips:"
    for slot, text in found.chips.items():
        yield f"  {place_in(*slot)}: {text}"


def revisions_page(project: str, found: Differences) -> str:
    """Return one HTML document that loads nothing, with the screens of both proofs as far as they are there."""
    sides = found.first, found.second
    return fill(
        "revisions.html",
        package="ladderlight.revisions",
        project=project,
        names=[side.name for side in sides],
        found=found,
        chips=[(place_in(*slot), text) for slot, text in found.chips.items()],
        aspects=[side.recipe.board.raster.mode.screen_aspect for side in sides],
        pictures=[
            (name, [_screen(side, place) for side, place in zip(sides, pair, strict=True)])
            for name, pair in found.pictures.items()
        ],
    )


def _screen(side: Side, place: Place | None) -> dict[str, Any] | None:
    if place is None:
        return None
    label = place_in(place[0], f"bank {place[1]}")
    try:
        return {"label": label, "source": data_url(side.screen(place).read_bytes())}
    except OSError:
        return {"label": label, "source": None}
