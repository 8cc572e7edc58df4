"""All single faults of a board's wiring."""

from collections.abc import Iterator, Sequence
from dataclasses import field, replace
from itertools import combinations
from math import inf
from typing import Literal

import numpy as np

from ladderlight.bench.connector import resistors_of
from ladderlight.bench.faults.lines import LineFault, address_faults, data_faults, line_text, selection_faults
from ladderlight.bench.faults.wiring import (
    Change,
    Place,
    bridge,
    broken_line,
    is_gate,
    missing_gate,
    resistors,
    with_resistors,
)
from ladderlight.bench.pins import ChipPin, Pins, data_line, pins_of
from ladderlight.board import Board, Device, Memory
from ladderlight.board.model.ladder import mark_of
from ladderlight.board.model.lines import Signal
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import MemoryWords, Words

Group = Literal["address lines", "data lines", "counters and switches", "gates", "outputs", "resistors"]
TOO_LARGE = 10
"""By how much a resistor is too large whose colour code was read one ring wrong."""


class WiringFault(Frozen, eq=False):
    """One fault of a board: in words, the pins to check, and what it makes of the board and its memories' words."""

    group: Group
    text: str
    chips: tuple[ChipPin, ...]
    change: Change = field(repr=False)


def faults_of(board: Board) -> list[WiringFault]:
    """Return every single fault of a board that is worth looking for, by group.

    Left out are faults whose level cannot be told: pins bridged so that a line depends on itself, and address pins
    bridged with data pins.
    """
    return [
        *_address_lines(board),
        *_data_lines(board),
        *_counters(board),
        *_gates(board),
        *_outputs(board),
        *_resistors(board),
    ]


def _address_lines(board: Board) -> Iterator[WiringFault]:
    for pins in pins_of(board):
        own = (fault for fault in address_faults(pins) if fault.kind != "address_bridged")
        yield from (_of_line("address lines", fault, fault.chips(pins), pins.device) for fault in own)
    for memory in board.memories:
        whole = Pins(board=board, device=_whole(memory))
        selecting = selection_faults(whole, memory.part.address_pins)
        yield from (_of_line("address lines", fault, fault.chips(whole), whole.device) for fault in selecting)
        yield from _bridged_addresses(board, memory)


def _bridged_addresses(board: Board, memory: Memory) -> Iterator[WiringFault]:
    every = pins_of(board, memory)
    for pair in every[0].neighbours("address"):
        if max(pair) >= len(memory.address):
            continue
        first, second = (memory.address[pin] for pin in pair)
        names = tuple(every[0].name("address", pin) for pin in pair)
        chips = tuple(pins.at("address", pin) for pins in every for pin in pair)
        for level, high_wins in (("low", False), ("high", True)):
            if first != second and (change := bridge(board, first, second, high_wins=high_wins)):
                text = line_text("address", names, f"bridged, and {level} wins")
                yield WiringFault(group="address lines", text=text, chips=chips, change=change)


def _data_lines(board: Board) -> Iterator[WiringFault]:
    for memory in board.memories:
        every = pins_of(board, memory)
        for fault in data_faults(every[0]):
            if any(every[0].line("data", pin) for pin in fault.pins):
                chips = tuple(chip for pins in every for chip in fault.chips(pins))
                yield _of_line("data lines", fault, chips, _whole(memory))


def _counters(board: Board) -> Iterator[WiringFault]:
    kinds = (Signal.X, Signal.Y, Signal.BANK)
    lines = {line for memory in board.memories for line in board.address_lines(memory) if line.signal in kinds}
    for line in sorted(lines, key=lambda line: (kinds.index(line.signal), line.index)):
        what = f"line {line}" if line.signal is Signal.BANK else f"counter bit {line}"
        for level in (0, 1):
            if change := broken_line(board, line, level):
                chips = tuple(
                    pins.at("address", pin)
                    for memory in board.memories
                    for pin, driver in enumerate(memory.address)
                    if line in map(board.resolve, driver.lines)
                    for pins in pins_of(board, memory)
                )
                text = f"{what} missing, and read as {('low', 'high')[level]}"
                yield WiringFault(group="counters and switches", text=text, chips=chips, change=change)


def _gates(board: Board) -> Iterator[WiringFault]:
    for memory in board.memories:
        for pin, driver in enumerate(memory.address):
            if not is_gate(driver):
                continue
            kind = "inverter" if len(driver.lines) == 1 else "exclusive-or gate"
            every = pins_of(board, memory)
            for line in dict.fromkeys(driver.lines):
                if change := missing_gate(board, memory, pin, line):
                    place = every[0].name("address", pin)
                    text = f"{kind} at {place} missing, and {line} wired through"
                    chips = tuple(pins.at("address", pin) for pins in every)
                    yield WiringFault(group="gates", text=text, chips=chips, change=change)


def _outputs(board: Board) -> Iterator[WiringFault]:
    for memory in board.memories:
        chips = tuple(pins.named("/OE") for pins in pins_of(board, memory))
        if change := _disabled(board, [memory]):
            text = f"output enable of {memory.name} inverted"
            yield WiringFault(group="outputs", text=text, chips=chips, change=change)
    if board.blanking != "none":
        disabling = board.blanking == "output-enable"
        if change := _disabled(board, board.driving_memories) if disabling else _dark(board):
            yield WiringFault(group="outputs", text="blanking line inverted", chips=(), change=change)


def _disabled(board: Board, memories: Sequence[Memory]) -> Change | None:
    """Return the change by which memories put out nothing while the picture is shown.

    Their ladder lines float; what they address, and the registers behind them, read high.
    """
    lines = {
        name
        for memory in memories
        for name in memory.data
        if memory.output == "direct" or board.blanking == "output-enable"
    }
    open_ = {place: inf for place in resistors(board.ladder) if place[1] in lines}
    faulty = with_resistors(board, open_) if open_ else board
    high = {memory.name: np.uint32((1 << memory.part.width) - 1) for memory in memories}
    if faulty is None:
        return None
    return lambda _, words: (
        faulty,
        {**words, **{name: np.full_like(words[name], word) for name, word in high.items()}},
    )


def _dark(board: Board) -> Change:
    """Return the change by which gates or cleared registers hold all ladder lines low; other lines stay as they are."""

    def change(_: Board, words: MemoryWords) -> tuple[Board, MemoryWords]:
        held = dict(words)
        for memory in board.driving_memories:
            lit = sum(1 << pin for pin in range(memory.part.width) if data_line(board, memory, pin) in board.code_lines)
            held[memory.name] = held[memory.name] & np.uint32(~lit & (1 << memory.part.width) - 1)
        return board, held

    return change


def _resistors(board: Board) -> Iterator[WiringFault]:
    nominal = resistors(board.ladder)
    fitted = dict(zip(nominal, resistors_of(board), strict=True))

    def fault(text: str, changed: dict[Place, float]) -> Iterator[WiringFault]:
        faulty = with_resistors(board, changed)
        if faulty:
            chips: list[ChipPin] = []
            for place in changed:
                part = fitted[place]  # named as in the wiring table: R3 1k6 (r1)
                chips += [ChipPin(chip=part.label, pin=None, name=part.value, line=part.line), *_driver(board, place)]
            yield WiringFault(group="resistors", text=text, chips=tuple(chips), change=lambda _, words: (faulty, words))

    for place, ohms in nominal.items():
        named = _named(place, ohms)
        yield from fault(f"resistor {named} missing", {place: inf})
        yield from fault(f"resistor {named} ten times too large", {place: TOO_LARGE * ohms})
    for (one, ohms), (other, others) in combinations(nominal.items(), 2):
        if ohms != others and _line_of(one) != _line_of(other):
            text = f"resistors {_named(one, ohms)} and {_named(other, others)} exchanged"
            yield from fault(text, {one: others, other: ohms})


def _named(place: Place, ohms: float) -> str:
    channel, name = place
    return f"{name} ({channel}, {mark_of(ohms)})"


def _line_of(place: Place) -> Place:
    """Return the channel and line of a resistor, which may be one of a pair; to exchange the two changes nothing."""
    channel, name = place
    return channel, name.removesuffix(" first").removesuffix(" second")


def _driver(board: Board, place: Place) -> tuple[ChipPin, ...]:
    """Return the data pins that drive a resistor's line; none for a resistor that no line drives."""
    source = board.outputs.get(_line_of(place)[1])
    if source is None:
        return ()
    memory = board.memory(source.memory)
    wired = range(source.index, memory.part.width, memory.pixel_width)
    return tuple(pins.at("data", pin) for pins in pins_of(board, memory) for pin in wired)


def _whole(memory: Memory) -> Device:
    part = replace(memory.part, words=memory.words)
    return Device(name=memory.name, memory=memory.name, part=part, index=0)


def _of_line(group: Group, fault: LineFault, chips: tuple[ChipPin, ...], device: Device) -> WiringFault:
    first, count = device.first_word, device.part.words

    def change(board: Board, words: MemoryWords) -> tuple[Board, MemoryWords]:
        held: Words = words[device.memory].copy()
        held[first : first + count] = fault.words(held[first : first + count], np.arange(count))
        return board, {**words, device.memory: held}

    return WiringFault(group=group, text=fault.text, chips=chips, change=change)
