"""Timing memories, against counters that they run themselves.

Synchronous counters step and are reset by what the emitted memories put out, through registers where the board has
them, from a state that no frame has. Sync and blanking must come out as VESA DMT has them, in every count of every
frame after the first. Independent simulator: ``iverilog`` and ``vvp`` (Debian ``iverilog``).
"""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from ladderlight import Board, Contents, commands
from ladderlight.board import Counters, Memory
from ladderlight.flow.merging import carry_timing, merge
from ladderlight.recipe import load

RECIPE = Path(__file__).parents[2] / "recipes" / "signal-mast"
LINES = ("hsync", "vsync", "blank", "x_reset", "y_reset")
VESA = {
    "640x480@60": ((640, 16, 96, 48, False), (480, 10, 2, 33, False)),
    "800x600@60": ((800, 40, 128, 88, True), (600, 1, 4, 23, True)),
}
"""Active part, front porch, sync and back porch, and whether sync is positive (VESA DMT 1.0 rev. 13)."""
BENCH = """
module bench;
  reg clock = 0;
  reg [{top_x}:0] x = {from_x};
  reg [{top_y}:0] y = {from_y};
  integer count;
  integer seen;
{memories}
{lines}
  always @(posedge clock) begin
    x <= x_reset ? {reset_x} : x + 1;
    if (x_reset) y <= y_reset ? {reset_y} : y + 1;
{registers}
  end
  initial begin
    seen = $fopen("seen", "wb");
    for (count = 0; count < {counts}; count = count + 1) begin
      #5 $fwrite(seen, "%u", {{hsync, vsync, blank, x_reset, y_reset, {x_gap}'b0, x, {y_gap}'b0, y}});
      clock = 1;
      #5 clock = 0;
    end
    $fclose(seen);
    $finish;
  end
endmodule
"""


@pytest.fixture
def simulated(tmp_path: Path, program: Callable[[str], str]) -> Callable[..., dict[str, NDArray[np.int64]]]:
    """Run a board's counters and memories from a reading of the counters: every line at every count."""

    def run(
        board: Board, words: Mapping[str, NDArray[np.uint32]], counts: int, start: tuple[int, int]
    ) -> dict[str, NDArray[np.int64]]:
        timing = [memory for memory in board.memories if {name.lstrip("!") for name in memory.data} & set(LINES)]
        for memory in timing:
            text = "\n".join(f"{word:x}" for word in words[memory.name])
            (tmp_path / f"{memory.name}.hex").write_text(text + "\n", encoding="ascii")
        source = BENCH.format(
            x_gap=13 - board.x_counter.bits,
            y_gap=14 - board.y_counter.bits,
            top_x=board.x_counter.bits - 1,
            top_y=board.y_counter.bits - 1,
            from_x=start[0],
            from_y=start[1],
            reset_x=board.x_counter.reset_to,
            reset_y=board.y_counter.reset_to,
            memories="\n".join(line for memory in timing for line in declared(memory)),
            lines="\n".join(line for memory in timing for line in driven(memory)),
            registers="\n".join(line for memory in timing for line in clocked(memory)),
            counts=counts,
        )
        (tmp_path / "bench.v").write_text(source, encoding="ascii")
        bench = tmp_path / "bench"
        subprocess.run([program("iverilog"), "-g2005", "-o", bench, tmp_path / "bench.v"], check=True)
        subprocess.run([program("vvp"), "-n", bench], check=True, cwd=tmp_path)
        table = np.fromfile(tmp_path / "seen", dtype=np.uint32).astype(np.int64)
        lines = {line: table >> 31 - at & 1 for at, line in enumerate(LINES)}
        return lines | {"x": table >> 14 & 0x1FFF, "y": table & 0x3FFF}

    return run


def declared(memory: Memory) -> Iterator[str]:
    """The memory, its address by the counters' bits, and its register."""
    name, width = memory.name, memory.part.width
    bits = "".join(
        f", {'!' * pin.inverted}{pin.lines[0].name[0]}[{pin.lines[0].name[1:]}]" for pin in reversed(memory.address)
    )
    yield f"  reg [{width - 1}:0] {name}_words [0:{memory.words - 1}];"
    yield f'  initial $readmemh("{name}.hex", {name}_words);'
    yield f"  wire [{width - 1}:0] {name}_word = {name}_words[{{{bits[2:]}}}];"
    yield f"  reg [{width - 1}:0] {name}_held = 0;"


def driven(memory: Memory) -> Iterator[str]:
    """The timing lines that its pins drive, through an inverter where the pin is active low."""
    shown = f"{memory.name}_held" if memory.output == "register" else f"{memory.name}_word"
    for pin, line in enumerate(memory.data):
        if line.lstrip("!") in LINES:
            yield f"  wire {line.lstrip('!')} = {'!' * line.startswith('!')}{shown}[{pin}];"


def clocked(memory: Memory) -> Iterator[str]:
    """The register takes a word at the end of its hold; that of a memory without x bits where x is reset."""
    if memory.output != "register":
        return
    lowest = min(
        (int(line.name[1:]) for pin in memory.address for line in pin.lines if line.name[0] == "x"), default=-1
    )
    when = {-1: "x_reset", 0: "1"}.get(lowest, f"&x[{lowest - 1}:0]")
    yield f"    if ({when}) {memory.name}_held <= {memory.name}_word;"


def assert_as_in_the_mode(board: Board, seen: Mapping[str, NDArray[np.int64]], frames: int) -> None:
    """Compare whole frames, from the second one on, with levels made from the standard's figures alone."""
    (active, front, sync, back, high), (lines, front_v, sync_v, back_v, high_v) = VESA[board.raster.mode.name]
    share = active // board.raster.x.visible
    active, front, sync, back = (part // share for part in (active, front, sync, back))
    total, total_v = active + front + sync + back, lines + front_v + sync_v + back_v
    frame = total * total_v
    dark = np.flatnonzero(np.diff(seen["blank"]))
    opens = dark[1:][(np.diff(dark) > total) & (np.diff(seen["blank"])[dark[1:]] == -1)] + 1
    begin = int(opens[1])
    assert len(seen["blank"]) >= begin + frames * frame
    t = np.arange(frames * frame)
    column, line = t % total, t // total % total_v
    now = slice(begin, begin + len(t))
    assert np.array_equal(seen["blank"][now], (column >= active) | (line >= lines))
    pulse = (column >= active + front) & (column < active + front + sync)
    assert np.array_equal(seen["hsync"][now], pulse == high)
    # The y counter steps where the x counter is reset; the first visible line begins at the last such count.
    resets = np.flatnonzero(seen["x_reset"]) + 1
    assert set(np.diff(resets[resets > begin - frame]).tolist()) == {total}
    visible = begin - board.counters.blanking_delay
    row = np.searchsorted(resets, t + begin, side="right") - np.searchsorted(resets, visible, side="right")
    pulse = (row % total_v >= lines + front_v) & (row % total_v < lines + front_v + sync_v)
    assert np.array_equal(seen["vsync"][now], pulse == high_v)
    assert (seen["x"][visible], seen["y"][visible]) == (board.counters.x_start, board.counters.y_start)
    falls = np.flatnonzero(np.diff(seen["y_reset"][begin:]) == -1) + 1 + begin
    assert set(np.diff(falls).tolist()) <= {frame}
    assert len(falls) >= frames - 1
    for fall in falls[1:].tolist():
        assert seen["y_reset"][fall - frame : fall].sum() == seen["y_reset"][fall - total : fall].sum() == total
        assert (seen["x"][fall], seen["y"][fall]) == (board.x_counter.reset_to, board.y_counter.reset_to)


ALL = ["hsync", "vsync", "blank", "x_reset", "y_reset"]
COLOURS = ["b0-b1", "g0-g1", "r0-r1"]
TIMED = {"address": ["x0-x6", "y0-y9"], "data": ALL, "part": "27C010"}


@pytest.mark.parametrize(
    ("counters", "memories", "mode", "clock"),
    [
        pytest.param(Counters(), [TIMED], "640x480@60", 25175000 // 8, id="direct, from 0"),
        pytest.param(
            Counters(x_start=18, x_reset=0, y_start=35, y_reset=0),
            [TIMED | {"output": "register"}],
            "640x480@60",
            25175000 // 8,
            id="registered, from sync",
        ),
        pytest.param(
            Counters(x_start=9, y_start=7, blanking_delay=3),
            [TIMED | {"output": "register", "data": [f"!{line}" for line in ALL]}],
            "640x480@60",
            25175000 // 8,
            id="preset, delayed, all inverted",
        ),
        pytest.param(
            Counters(x_reset=44, x_start=60, y_reset=3, y_start=10, blanking_delay=1),
            [
                {"name": "across", "address": ["x0-x8", "y0-y9"], "part": "27C040", "data": ["blank"]},
                {"name": "line", "address": ["x8-x0"], "part": "27C256", "data": ["-", "!hsync", "x_reset"]},
                {"name": "frame", "address": ["!y0", "y1-y9"], "part": "2716", "data": ["vsync", "y_reset"]},
            ],
            "800x600@60",
            10000000,
            id="positive sync, three memories, one held for lines",
        ),
    ],
)
def test_the_memories_run_the_counters_and_make_the_modes_syncs(
    counters: Counters,
    memories: list[dict],
    mode: str,
    clock: int,
    make_board: Callable[..., Board],
    memory: Callable[..., Memory],
    simulated: Callable,
) -> None:
    picture = memory(address=["x2-x6", "y4-y8"], data=COLOURS)
    timing = [memory(**({"name": "timing"} | table)) for table in memories]
    if len(timing) > 1:
        timing[0], timing[2] = replace(timing[0], output="register"), replace(timing[2], output="register")
    board = make_board(picture, *timing, counters=counters, mode=mode, clock=str(clock))
    contents = carry_timing(merge([Contents(memories={})], board), board)
    words = {name: part.words for name, part in contents.memories.items()}
    frame = board.raster.x.total * board.raster.y.total
    start = (board.x_counter.reset_to + 5, board.y_counter.reset_to + 77)
    assert_as_in_the_mode(board, simulated(board, words, 9 * frame // 2, start), 2)


def test_the_recipe_that_uses_them(tmp_path: Path, simulated: Callable) -> None:
    """Line sync and blanking beside the colours in one memory; from readings that no frame has."""
    folder = shutil.copytree(RECIPE, tmp_path / "mast", ignore=shutil.ignore_patterns("out*"))
    assert commands.main(["build", "--quiet", str(folder / "recipe.toml")]) == 0
    board = load(folder / "recipe.toml").board
    words = {
        memory.name: np.fromfile(folder / "out" / "devices" / f"{memory.name}.bin", dtype=f"<u{memory.part.width // 8}")
        for memory in board.memories
    }
    frame = board.raster.x.total * board.raster.y.total
    assert_as_in_the_mode(board, simulated(board, words, 9 * frame // 2, (450, 900)), 2)
