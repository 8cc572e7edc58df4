"""Random graphs of memories: the scan against a slow walk through the wiring, and look-up there and back."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from ladderlight.board import (
    Axis,
    Board,
    Channel,
    Conflict,
    Counters,
    Ladder,
    Memory,
    Mode,
    Packing,
    Part,
    Placement,
    Raster,
)
from ladderlight.board.advice.checks import problems_of
from ladderlight.board.model.lines import expand
from ladderlight.board.scanning.lookup import LookupFull, lookup_of
from ladderlight.board.scanning.playback import play
from ladderlight.board.scanning.scan import scan
from ladderlight.proof.page.data import board_data
from ladderlight.proof.scanout import picture_codes, screen_codes

AXIS = Axis(active=24, front_porch=2, sync=4, back_porch=2, positive=True)
RASTER = Raster(
    mode=Mode(name="own", dot_clock=Fraction(1_000_000), horizontal=AXIS, vertical=AXIS, screen_aspect=Fraction(1)),
    clock=Fraction(1_000_000),
)
TOTAL = 32
GREY = Ladder(
    supply=5.0,
    channels=(Channel(name="grey", resistors={f"v{bit}": 200.0 * 2 ** (3 - bit) for bit in range(4)}, guns=(0, 1, 2)),),
)
RELAXED = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


def memory_of(name: str, pins: list[str], data: list[str], *, width: int = 8, **more) -> Memory:
    return Memory(
        name=name,
        part=Part(number="any", words=1 << max(len(pins), 1), width=width),
        address=tuple(expression for pin in pins for expression in expand(pin)),
        data=tuple(data),
        **more,
    )


@st.composite
def pin(draw: st.DrawFn, lines: list[str]) -> str:
    terms = draw(st.lists(st.sampled_from(lines), min_size=1, max_size=3, unique=True))
    return ("!" if draw(st.booleans()) else "") + "^".join(terms)


@st.composite
def graphs(draw: st.DrawFn) -> Board:
    """Draw two to four memories; each may be addressed by counters, banks, constants and all that come before it."""
    counters = [f"x{bit}" for bit in range(2, 5)] + [f"y{bit}" for bit in range(5)] + ["bank0", "low", "high"]
    memories: list[Memory] = []
    select: dict[str, int] = {}  # lowest x bit that changes what a memory puts out
    lines = list(counters)
    count = draw(st.integers(2, 4))
    for at in range(count):
        name_of = f"m{at}"
        last = at == count - 1
        before = [f"m{at - 1}.d{draw(st.integers(0, 1))}"] if at else []
        pins = before + draw(st.lists(pin(lines), min_size=1, max_size=6))
        names = {name for entry in pins for name in entry.removeprefix("!").split("^")}
        moving = [int(name[1:]) for name in names if name[0] == "x"]
        moving += [select[name.split(".")[0]] for name in names if "." in name and name.split(".")[0] in select]
        pixels = draw(st.sampled_from([pixels for pixels in (1, 1, 2, 4) if pixels <= 1 << min(moving, default=0)]))
        if moving:
            select[name_of] = min(moving) - pixels.bit_length() + 1
        packing = Packing(pixels=pixels, order=draw(st.sampled_from(["msb_first", "lsb_first"])))
        data = draw(st.permutations(["v0", "v1", "v2", "v3"])) if last else []
        memories.append(
            memory_of(
                name_of,
                draw(st.permutations(pins)),
                data,
                width=16,
                packing=packing,
                output=draw(st.sampled_from(["direct", "direct", "register"])),
            )
        )
        lines += [f"{name_of}.d{bit}" for bit in range(16 // pixels)]
    board = Board(
        raster=RASTER,
        memories=tuple(draw(st.permutations(memories))),
        ladder=GREY,
        counters=Counters(x_start=draw(st.sampled_from([0, 5])), y_start=draw(st.sampled_from([0, 3]))),
    )
    assert problems_of(board) == []
    return board


class Walk:
    """The wiring followed bit by bit from its text, at one count and line from the first visible ones."""

    def __init__(
        self, board: Board, words: dict[str, np.ndarray], column: int, line: int, bank: int, *, registers: bool
    ) -> None:
        self.board, self.words, self.registers = board, words, registers
        if column < 0:
            column, line = column + TOTAL, line - 1
        self.column, self.line = column, line % TOTAL
        self.found: dict[str, int] = {}
        self.counts = {
            "x": (board.counters.x_start + self.column) % 2**board.x_counter.bits,
            "y": (board.counters.y_start + self.line) % 2**board.y_counter.bits,
            "bank": bank,
        }

    def level(self, name: str) -> int:
        if name in ("low", "high"):
            return int(name == "high")
        if "." in name:
            memory, data_pin = name.split(".d")
            if memory not in self.found:
                self.found[memory] = self.output(memory)
            return self.found[memory] // 2 ** int(data_pin) % 2
        signal = name.rstrip("0123456789")
        return self.counts[signal] // 2 ** int(name.removeprefix(signal)) % 2

    def output(self, name: str) -> int:
        memory = self.board.memory(name)
        hold = self.hold(name)
        if self.registers and memory.output == "register" and hold < TOTAL:
            before = self.column - self.counts["x"] % hold - 1
            word = Walk(self.board, self.words, before, self.line, self.counts["bank"], registers=True).word(name)
        else:
            word = self.word(name)
        pixels, bits = memory.packing.pixels, 16 // memory.packing.pixels
        if pixels == 1:
            return word
        slot = self.counts["x"] // 2 ** self.select(name) % pixels
        place = pixels - 1 - slot if memory.packing.order == "msb_first" else slot
        return word // 2 ** (place * bits) % 2**bits

    def word(self, name: str) -> int:
        memory = self.board.memory(name)
        address = 0
        for at, expression in enumerate(memory.address):
            text = str(expression)
            names = text.removeprefix("!").split("^")
            address += (sum(map(self.level, names)) + text.startswith("!")) % 2 * 2**at
        return int(self.words[name][address])

    def hold(self, name: str) -> int:
        """Counts until a memory's address can change; those of a frame when it never does."""
        names = self.names(name)
        holds = [2 ** int(entry[1:]) for entry in names if entry[0] == "x"]
        holds += [TOTAL * 2 ** int(entry[1:]) for entry in names if entry[0] == "y"]
        sources = {entry.split(".")[0] for entry in names if "." in entry}
        holds += [self.hold(source) // self.board.memory(source).packing.pixels for source in sources]
        return min(holds, default=TOTAL * TOTAL)

    def names(self, name: str) -> set[str]:
        memory = self.board.memory(name)
        return {entry for pin in memory.address for entry in str(pin).removeprefix("!").split("^")}

    def select(self, name: str) -> int:
        """Lowest x bit that changes what a memory puts out; 99 when none does."""
        memory = self.board.memory(name)
        names = self.names(name)
        moving = [int(entry[1:]) for entry in names if entry[0] == "x"]
        moving += [self.select(source) for source in {entry.split(".")[0] for entry in names if "." in entry}]
        lowest = min(moving, default=99)
        return lowest if lowest == 99 else lowest - memory.packing.pixels.bit_length() + 1

    def code(self) -> int:
        code = 0
        for bit, line in enumerate(self.board.code_lines):
            driver = next(memory for memory in self.board.memories if line in memory.data)
            code += self.level(f"{driver.name}.d{driver.data.index(line)}") * 2**bit
        return code


@RELAXED
@given(graphs(), st.integers(0, 1 << 16))
def test_the_scan_follows_any_graph(board: Board, seed: int) -> None:
    random = np.random.default_rng(seed)
    words = {memory.name: random.integers(0, 1 << 16, memory.words).astype(np.uint32) for memory in board.memories}
    shown = scan(board, words, board.x_grid.counts[None, :], board.y_grid.counts[:, None], 1).codes
    for _ in range(20):
        line, column = int(random.integers(24)), int(random.integers(24))
        assert shown[line, column] == Walk(board, words, column, line, 1, registers=False).code()


@settings(RELAXED, max_examples=50)
@given(graphs(), st.integers(0, 1 << 16))
def test_the_proof_pages_script_scans_any_graph(page_scripts, board: Board, seed: int) -> None:
    random = np.random.default_rng(seed)
    words = {memory.name: random.integers(0, 1 << 16, memory.words).astype(np.uint32) for memory in board.memories}
    data = board_data(board, {device.name: {"pieces": []} for device in board.devices})
    found = page_scripts.evaluate(
        "([board, words]) => [scanBank, shown].map((scan) => Array.from(scan(board, words, 1)))",
        [data, {name: values.tolist() for name, values in words.items()}],
    )
    assert found[0] == picture_codes(board, words, 1).ravel().tolist()
    assert found[1] == screen_codes(board, words, 1).ravel().tolist()


@RELAXED
@given(graphs(), st.integers(0, 1 << 16))
def test_playback_follows_any_graph_with_registers(board: Board, seed: int) -> None:
    random = np.random.default_rng(seed)
    words = {memory.name: random.integers(0, 1 << 16, memory.words).astype(np.uint32) for memory in board.memories}
    shown = play(board, words, 1).codes
    registers = sum(memory.output == "register" for memory in board.memories)
    event(f"{registers} registers")
    for at in range(20):
        line, column = int(random.integers(24)), at  # from the left, where the line before still shows
        assert shown[line, column] == Walk(board, words, column, line, 1, registers=True).code()


@st.composite
def look_ups(draw: st.DrawFn) -> Board:
    """Draw a picture in one or two memories and a look-up in one or two, with any gates between."""
    x_low, y_low = draw(st.integers(0, 2)), draw(st.integers(0, 2))
    address = [f"x{bit}" for bit in range(x_low, 5)] + [f"y{bit}" for bit in range(y_low, 5)]
    address += draw(st.sampled_from([[], ["bank0"]]))
    if draw(st.integers(0, 4)) == 0:
        address.remove(draw(st.sampled_from(address[1:])))
    planes = draw(st.integers(1, 2))
    sources, lines = [], []
    for at in range(planes):
        names = [f"p{at}{bit}" for bit in "abc"[: draw(st.integers(1, 3))]]
        lines += names
        sources.append(memory_of(f"source{at}", draw(st.permutations(address)), draw(st.permutations([*names, "-"]))))
    tables = []
    for at, data in enumerate([["v0", "v1", "v2", "v3"]] if draw(st.booleans()) else [["v0", "v2"], ["v3", "v1"]]):
        pins = [("!" if draw(st.booleans()) else "") + name for name in draw(st.permutations(lines))]
        pins += draw(st.lists(pin([*lines, "bank0", "high"]), max_size=2))
        tables.append(memory_of(f"table{at}", draw(st.permutations(pins)), data))
    board = Board(raster=RASTER, memories=tuple(draw(st.permutations([*sources, *tables]))), ladder=GREY)
    assert problems_of(board) == []
    return board


@RELAXED
@given(look_ups(), st.integers(1, 16), st.integers(0, 1 << 16))
def test_look_up_there_and_back(board: Board, colours: int, seed: int) -> None:
    random = np.random.default_rng(seed)
    size = (board.geometry.height, board.geometry.width)
    palette = random.permutation(16)[:colours]
    pictures = [random.choice(palette, size).astype(np.uint16) for _ in range(board.bank_count)]
    placement = Placement(board=board)
    try:
        for bank, picture in enumerate(pictures):
            placement.put_codes(picture, bank=bank, picture=f"p{bank}")
    except LookupFull:
        event("full")
        lookup = lookup_of(board)
        assert lookup is not None
        wanted = {int(code) for picture in pictures for code in np.unique(picture)}
        if any("bank0" in str(pin) for memory in board.memories if "table" in memory.name for pin in memory.address):
            # Banks that share part of their entries can waste some; but an empty look-up holds any that fit.
            for bank, picture in enumerate(pictures):
                assert fits_alone(board, picture, bank) is (np.unique(picture).size <= lookup.size)
        else:
            assert len(wanted) > lookup.size
    except Conflict as conflict:
        event("conflict")
        assert_same_word(board, conflict)
    else:
        event("round trip")
        words = {name: words for name, (words, _) in placement.words().items()}
        for bank, picture in enumerate(pictures):
            shown = scan(board, words, board.x_grid.counts[None, :], board.y_grid.counts[:, None], bank).codes
            assert np.array_equal(shown, picture[board.y_grid.cells[:, None], board.x_grid.cells[None, :]])


def fits_alone(board: Board, picture: np.ndarray, bank: int) -> bool:
    try:
        Placement(board=board).put_codes(picture, bank=bank, picture="alone")
    except LookupFull:
        return False
    except Conflict:
        return True
    return True


def assert_same_word(board: Board, conflict: Conflict) -> None:
    """Both places lead to the named address of the named memory, by the walk through the wiring."""
    memory = board.memory(conflict.memory)
    for place in (conflict.first, conflict.second):
        x, y = int(board.x_grid.samples[place.x]), int(board.y_grid.samples[place.y])
        walk = Walk(board, {}, x, y, place.bank, registers=False)
        assert sum(walk.level(str(pin)) * 2**at for at, pin in enumerate(memory.address)) == conflict.address
    assert (conflict.first.x, conflict.first.y, conflict.first.bank) != (
        conflict.second.x,
        conflict.second.y,
        conflict.second.bank,
    )
