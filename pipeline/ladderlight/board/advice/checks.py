"""Reasons why a board is impossible, each with its place in the declaration and a remedy."""

from collections import Counter as Tally
from collections.abc import Callable, Iterator
from itertools import pairwise

from ladderlight.board.advice.alternatives import choices, smallest_part
from ladderlight.board.advice.blanking import timing_problems
from ladderlight.board.model.board import Board
from ladderlight.board.model.lines import TIMING, Line, Signal, line, numbered, timing_line
from ladderlight.board.model.memory import Memory
from ladderlight.errors import Problem, nearest, nearest_word
from ladderlight.units.words import joined

MOST_CODE_BITS = 16
MOST_CHOICES = 4
MOST_CHIPS = 16
MOST_WIDTH = 32
MOST_START = 1 << 16
MOST_BANK_LINES = 16
Place = tuple[str | int, ...]
_FIRST, _RESET = "the count at the first visible place", "the count after the reset"
_COUNTS = {"x_start": _FIRST, "y_start": _FIRST, "x_reset": _RESET, "y_reset": _RESET}


def problems_of(board: Board) -> list[Problem]:
    """Return what is impossible about a board. ``where`` is relative to the board: ``("memory", 0, "address", pin)``.

    The computed properties of a board may be used only when this list is empty.
    """
    return (
        list(_numbers(board))  # what follows divides and shifts by them
        or [*_names(board), *_ladder_lines(board), *_of_memories(board, _data, _address)]
        or list(_loops(board))
        or list(_of_memories(board, _packing))
        or timing_problems(board)
    )


def _of_memories(board: Board, *checks: Callable[[Board, Memory, Place], Iterator[Problem]]) -> Iterator[Problem]:
    for index, memory in enumerate(board.memories):
        for check in checks:
            yield from check(board, memory, ("memory", index))


def _numbers(board: Board) -> Iterator[Problem]:
    for name, meaning in _COUNTS.items():
        count = getattr(board.counters, name)
        if count is not None and not 0 <= count < MOST_START:
            action = f"use {meaning}, 0 to {MOST_START - 1}"
            yield Problem(where=("counters", name), what=f"{name} is {count}", action=action)
    if board.raster.clock <= 0:
        yield Problem(where=("clock",), what="the clock is not above 0 Hz", action='give it as in "25.175 MHz"')
    else:
        yield from _counters(board)
    if board.counters.delay < 0:
        yield Problem(where=("counters", "delay"), what="the delay is below zero", action="use 0 s or more")
    yield from _of_memories(board, _sizes)


def _counters(board: Board) -> Iterator[Problem]:
    total = board.raster.x.total
    if not 0 <= board.counters.blanking_delay < total:
        what = f"blanking_delay is {board.counters.blanking_delay}, and a line has {total} counts"
        yield Problem(where=("counters", "blanking_delay"), what=what, action=f"use 0 to {total - 1}")
    for name, counter in (("x", board.x_counter), ("y", board.y_counter)):
        spare = counter.counts.total - counter.counts.visible
        if counter.ahead > spare:
            yield Problem(
                where=("counters", f"{name}_reset"),
                what=f"{name}_reset is {counter.reset}, so the reset falls within the picture, which begins at "
                f"{counter.start}",
                action=f"use a count at most {spare} before {name}_start, or leave it out for a counter that is preset",
            )


def _sizes(_: Board, memory: Memory, where: Place) -> Iterator[Problem]:
    part, packing = memory.part, memory.packing
    if not _power_of_two(part.words):
        what = f"memory {memory.name!r} has {part.words} words, which no number of address pins gives"
        yield Problem(where=(*where, "words"), what=what, action="use a power of two, such as 32768")
    if not 1 <= part.width <= MOST_WIDTH:
        what = f"a word has {part.width} bits"
        yield Problem(where=(*where, "width"), what=what, action=f"use 1 to {MOST_WIDTH} bits")
    if not _power_of_two(memory.chips):
        what = f"{memory.chips} chips in a row cannot be told apart by whole address lines"
        yield Problem(where=(*where, "chips"), what=what, action="use 1, 2, 4, 8 or 16 chips")
    if not _power_of_two(packing.pixels) or packing.pixels > max(part.width, 1) or part.width % packing.pixels:
        what = f"{packing.pixels} pixels do not share a word of {part.width} bits evenly"
        yield Problem(where=(*where, "packing", "pixels"), what=what, action="use 1, 2, 4 or 8 pixels in a word")
    if memory.access is not None and memory.access <= 0:
        what = "the access time is not above zero"
        yield Problem(where=(*where, "access"), what=what, action='give it as in "120 ns"')


def _power_of_two(number: int) -> bool:
    return number >= 1 and number & (number - 1) == 0


def _names(board: Board) -> Iterator[Problem]:
    if not board.memories:
        yield Problem(where=("memory",), what="the board has no memory", action="add a [[board.memory]]")
    tally = Tally(memory.name for memory in board.memories)
    drivers = Tally(name for memory in board.memories for name in memory.data if name != "-")
    for index, memory in enumerate(board.memories):
        if tally[memory.name] > 1:
            what = f"more than one memory is called {memory.name!r}"
            yield Problem(where=("memory", index, "name"), what=what, action="give each a name of its own")
        for pin, name in enumerate(memory.data):
            if drivers[name] > 1:
                what = f"line {name!r} is driven by {drivers[name]} data pins, which would short each other"
                yield Problem(where=("memory", index, "data", pin), what=what, action="let one pin drive it")
            if name != "-" and line(name).signal is not Signal.NAMED:
                what = f"{name!r} is already the name of a counter bit or a constant"
                yield Problem(where=("memory", index, "data", pin), what=what, action="choose another name")


def _ladder_lines(board: Board) -> Iterator[Problem]:
    driven = {name for memory in board.memories for name in memory.data if not timing_line(name)} - {"-"}
    for channel in board.ladder.channels:
        for name in channel.lines:
            if name in TIMING:
                what = f"{name!r} is the timing line for {TIMING[name]}"
                action = "give the ladder's line another name, such as r0"
                yield Problem(where=("ladder", channel.name, name), what=what, action=action)
            elif name not in driven:
                what = f"no memory's data pin drives ladder line {name!r}"
                action = f"list it in a memory's data, or {nearest_word(name, driven)}"
                yield Problem(where=("ladder", channel.name, name), what=what, action=action)
    if len(board.ladder.lines) > MOST_CODE_BITS:
        what = f"the ladders have {len(board.ladder.lines)} lines; a code has at most {MOST_CODE_BITS} bits"
        yield Problem(where=("ladder",), what=what, action="leave some out")


def _data(board: Board, memory: Memory, where: Place) -> Iterator[Problem]:
    if len(memory.data) > memory.pixel_width:
        yield Problem(
            where=(*where, "data"),
            what=f"memory {memory.name!r} has {memory.pixel_width} data pins"
            + (
                f" per pixel ({memory.part.width} bits, {memory.packing.pixels} pixels in a word)"
                * (memory.packing.pixels > 1)
            )
            + f", but {len(memory.data)} are listed",
            action="leave some out or use a wider part",
        )
    if memory.fill_word >> memory.part.width:
        what = f"fill {memory.fill_word:X}h does not fit into {memory.part.width} bits"
        yield Problem(where=(*where, "fill"), what=what, action=f"use at most {(1 << memory.part.width) - 1:X}h")
    wired = [term for other in board.memories for term in other.wires]
    used = {term.name for term in wired if term.signal is Signal.NAMED}
    used |= {*board.ladder.lines, *filter(timing_line, memory.data)}
    near = {name: nearest(name.lower(), TIMING) for name in memory.data}
    if not used & set(memory.data) and memory.name not in {term.memory for term in wired} and not any(near.values()):
        action = "wire its data to the ladder or to another memory's address, or leave the memory out"
        yield Problem(where=(*where, "data"), what=f"nothing uses the data of memory {memory.name!r}", action=action)
        return
    for pin, name in enumerate(memory.data):
        if name != "-" and name not in used:
            hint = f"did you mean {near[name]!r}? Otherwise" if near[name] else f"{nearest_word(name, used)} or"
            action = f'{hint} write "-" for a pin that drives nothing'
            yield Problem(where=(*where, "data", pin), what=f"nothing uses line {name!r}", action=action)


def _address(board: Board, memory: Memory, where: Place) -> Iterator[Problem]:
    if len(memory.address) > memory.address_pins:
        chips = f" in {memory.chips} chips" if memory.chips > 1 else ""
        yield Problem(
            where=(*where, "address"),
            what=f"{memory.part.number}{chips} has {memory.address_pins} address lines, "
            f"but {len(memory.address)} are listed",
            action=_shorter(board, memory),
        )
    for run in _impossible_runs(board, memory):
        (pin, first), (last_pin, last) = run[0], run[-1]
        problem = _line_problem(board, first, last)
        if problem:
            what, action = problem
            pins = f"A{pin} to A{last_pin}" if len(run) > 1 else f"A{pin}"
            yield Problem(where=(*where, "address", pin), what=f"{pins}: {what}", action=action)


def _impossible_runs(board: Board, memory: Memory) -> list[list[tuple[int, Line]]]:
    """Return pins with a line that cannot be: together where their lines count up or down, or are the same."""
    runs: list[list[tuple[int, Line]]] = []
    for pin, expression in enumerate(memory.address):
        for term in expression.lines:
            if _line_problem(board, term) is not None:
                run = next((run for run in runs if _continues(run, pin, term)), None)
                if run is None:
                    runs.append([(pin, term)])
                else:
                    run.append((pin, term))
    return runs


def _continues(run: list[tuple[int, Line]], pin: int, term: Line) -> bool:
    lines = [*(line for _, line in run), term]
    if run[-1][0] != pin - 1 or len(set(lines)) == 1:  # in a gate, a single line goes to every pin
        return run[-1][0] == pin - 1
    names = [name for line in lines if (name := numbered(line.name))]
    steps = {after - before for (_, before), (_, after) in pairwise(names)}
    return len(names) == len(lines) and len({stem for stem, _ in names}) == 1 and steps in ({1}, {-1})


def _shorter(board: Board, memory: Memory) -> str:
    ways, fewer = [], []
    if all(_line_problem(board, term) is None for other in board.memories for term in other.wires):
        fewer = [str(choice) for choice in choices(board, memory)[:MOST_CHOICES]]
    part = smallest_part(memory, len(memory.address))
    if part is not None:
        ways.append(f"use a {part.number}" if memory.chips == 1 else f"use {memory.chips} x {part.number}")
    chips = memory.chips << len(memory.address) - memory.address_pins
    if chips <= MOST_CHIPS:
        ways.append(f"set chips = {chips}")
    remedies = [f"leave out {joined(fewer, 'or')}"] * bool(fewer) + [joined(ways, "or")] * bool(ways)
    return ", or ".join(remedies) or "drop a line or use a larger part"


def _line_problem(board: Board, term: Line, last: Line | None = None) -> tuple[str, str] | None:
    """Return why a line, or each up to ``last``, cannot drive a pin, and what to do; None when it can."""
    many = last is not None and last != term
    names = f"{term} to {last}" if many else f"{term}"
    for signal, counter in ((Signal.X, board.x_counter), (Signal.Y, board.y_counter)):
        bits = counter.highest.bit_length()
        if term.signal is signal and term.index >= bits:
            return (
                f"{names} never change{'s' * (not many)}: the {signal.value} counter counts {counter.reset_to} to "
                f"{counter.highest}",
                f"use {signal.value}0 to {signal.value}{bits - 1}, or low",
            )
    if term.signal is Signal.BANK and term.index >= MOST_BANK_LINES:
        return (
            f"{names} {'are' if many else 'is'} beyond the {MOST_BANK_LINES} bank lines",
            f"use bank0 to bank{MOST_BANK_LINES - 1}",
        )
    memories = {memory.name: memory for memory in board.memories}
    if term.signal is Signal.OUTPUT:
        if term.memory not in memories:
            return f"no memory is called {term.memory!r}", nearest_word(term.memory, memories)
        width = memories[term.memory].pixel_width
        if term.index >= width:
            outputs = f"outputs d{term.index} to d{last.index}" if last and many else f"output d{term.index}"
            return f"memory {term.memory!r} has no {outputs}", f"use d0 to d{width - 1}"
    if term.signal is Signal.NAMED and term.name not in board.outputs:
        quoted = f"lines {term.name!r} to {last.name!r}" if last and many else f"line {term.name!r}"
        return f"nothing drives {quoted}", _nearest_line(board, term, last)
    return None


def _nearest_line(board: Board, term: Line, last: Line | None) -> str:
    known = [*board.outputs, "low", "high", "x0", "y0", "bank0", *(f"{memory.name}.d0" for memory in board.memories)]
    if _exists(board, term.name.lower()):
        known.append(term.name.lower())
    near, ends = nearest(term.name, known), [numbered(line.name) for line in (term, last or term)]
    stem = numbered(near) if near else None
    if stem and last and last != term:
        first_name, last_name = (f"{stem[0]}{end[1]}" for end in ends if end)
        if _exists(board, first_name) and _exists(board, last_name):
            return f"did you mean '{first_name}-{last_name}'?"
    return nearest_word(term.name, known)


def _exists(board: Board, name: str) -> bool:
    meant = line(name)
    return name in board.outputs or (meant.signal is not Signal.NAMED and _line_problem(board, meant) is None)


def _loops(board: Board) -> Iterator[Problem]:
    looped = [memory.name for memory in board.memories if memory.name in board.behind(memory)]
    if looped:
        what = f"memories {', '.join(looped)} address each other in a loop"
        yield Problem(where=("memory",), what=what, action="let at least one be addressed by counters alone")


def _packing(board: Board, memory: Memory, where: Place) -> Iterator[Problem]:
    if memory.packing.pixels == 1:
        return
    if board.first_moving_bit(memory) is None or board.first_select_bit(memory) < 0:
        bits = memory.packing.select_bits
        what = f"{memory.packing.pixels} pixels in a word need {bits} x bits below the lowest one in the address"
        action = f"start its address, or that of the memory which addresses it, at x{bits} or higher"
        yield Problem(where=(*where, "packing"), what=what, action=action)
