"""From the recipe's board table to the board, and from the board's problems back to places in the recipe."""

import math
from dataclasses import replace

from ladderlight.board import (
    MODES,
    PART_NAMES,
    Axis,
    Board,
    Channel,
    Counters,
    Ladder,
    Memory,
    Mode,
    Packing,
    Part,
    Raster,
)
from ladderlight.board.model.ladder import GUNS
from ladderlight.board.model.lines import expand, expand_names
from ladderlight.errors import Problem
from ladderlight.recipe.language.tables import BoardTable, DriverTable, LadderTable, MemoryTable, R2RTable, TimingsTable
from ladderlight.recipe.language.values import ByteCount
from ladderlight.recipe.source.problems import Where
from ladderlight.units.arrays import bytes_per_word


def board_of(table: BoardTable) -> Board:
    """Make the board that a table declares. Its memories must name a part or give words and width."""
    return Board(
        raster=Raster(mode=_mode(table.mode), clock=table.clock),
        memories=tuple(map(_memory, table.memory)),
        ladder=_ladder(table.ladder),
        blanking=table.blanking,
        counters=Counters(**table.counters.model_dump()),
    )


def no_such_bank(bank: int, banks: int, where: Where) -> Problem:
    """Return the problem of a bank that the wiring cannot choose."""
    if banks == 1:
        return Problem(where=where, what=f"bank is {bank}, but the wiring has no bank lines", action="leave it out")
    what = f"bank is {bank}, but the wiring has {banks} banks"
    return Problem(where=where, what=what, action=f"use 0 to {banks - 1}")


def as_written(problem: Problem, table: BoardTable) -> Problem:
    """Lead from the board to the table: from a pin to the entry of the list that it came from."""
    return replace(problem, where=_written(problem.where, table))


def _written(where: Where, table: BoardTable) -> Where:
    if len(where) == 4 and where[0] == "memory":
        _, index, key, pin = where
        memory = table.memory[int(index)]
        pins = [at for at, entry in enumerate(memory.address) for _ in expand(entry)]
        outputs = [at for at, entry in enumerate(memory.data) for _ in expand_names(entry)]
        return ("memory", index, key, (pins if key == "address" else outputs)[int(pin)])
    if len(where) == 3 and where[0] == "ladder":
        channel = getattr(table.ladder, str(where[1]))
        if isinstance(channel, R2RTable):
            lines = {line: at for at, entry in enumerate(channel.lines) for line in expand_names(entry)}
            return (*where[:2], "lines", lines[str(where[2])])
    return where


def _mode(mode: str | TimingsTable) -> Mode:
    if isinstance(mode, str):
        return MODES[mode]
    horizontal, vertical = (
        Axis(active=active, front_porch=front, sync=sync, back_porch=back, positive=positive)
        for (active, front, sync, back), positive in zip((mode.horizontal, mode.vertical), mode.polarity, strict=True)
    )
    rate = float(mode.dot_clock / horizontal.total / vertical.total)
    return Mode(
        name=f"{horizontal.active}x{vertical.active}@{rate:.4g}",
        dot_clock=mode.dot_clock,
        horizontal=horizontal,
        vertical=vertical,
        screen_aspect=mode.aspect,
    )


def _memory(table: MemoryTable) -> Memory:
    return Memory(
        name=table.name,
        part=PART_NAMES[table.part] if table.part is not None else _plain_part(table),
        address=tuple(pin for entry in table.address for pin in expand(entry)),
        data=tuple(name for entry in table.data for name in expand_names(entry)),
        access=table.access,
        output=table.output,
        chips=table.chips,
        packing=Packing(pixels=table.packing.pixels, order=table.packing.order) if table.packing else Packing(),
        fill=table.fill,
    )


def _plain_part(table: MemoryTable) -> Part:
    width, words = table.width or 8, table.words or 2
    if isinstance(words, ByteCount):
        words = max(2, words // bytes_per_word(width))
    return Part(
        number=table.marking or f"{words}x{width}",
        words=words,
        width=width,
        erasure=table.erasure or "unknown",
        block=table.page,
        package=table.package or "",
    )


def _ladder(table: LadderTable) -> Ladder:
    guns = {name: (gun,) for gun, name in enumerate(GUNS)} | {"grey": (0, 1, 2)}
    channels = []
    for name in guns:
        written = getattr(table, name)
        if isinstance(written, R2RTable):
            lines = [line for entry in written.lines for line in expand_names(entry)]
            rungs = dict.fromkeys(lines, 2 * written.r2r if written.rung is None else written.rung)
            channels.append(Channel(name=name, resistors=rungs, guns=guns[name], r2r=written.r2r))
        elif written is not None:
            resistors = {line: assembly.ohms for line, assembly in written.items()}
            pairs = {line: assembly for line, assembly in written.items() if assembly.joined != "single"}
            channels.append(Channel(name=name, resistors=resistors, guns=guns[name], pairs=pairs))
    driver = table.driver
    high, low = (driver.high, driver.low) if isinstance(driver, DriverTable) else (driver, driver)
    return Ladder(
        supply=table.supply,
        channels=tuple(channels),
        load=table.load,
        peak=table.peak,
        driver_high=high,
        driver_low=math.inf if table.low == "floating" else low,
        low_volts=table.low_volts,
        tolerance=table.tolerance,
        response=table.response,
        tube_black=table.tube_black,
    )
