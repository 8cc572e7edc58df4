"""What the counters read, against digital hardware that is built from those figures alone.

Counters with a synchronous load, and latches for sync and blanking that decode the counts of the report, are simulated
over whole frames. Pulses and porches must come out as the mode has them (VESA DMT), and the part that is not blanked
must be the picture. Independent simulator: ``iverilog`` and ``vvp`` (Debian ``iverilog``).
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ladderlight.board import MODES, Board, Counters, Raster
from ladderlight.board.advice.checks import problems_of
from ladderlight.board.advice.report import report
from ladderlight.board.scanning.playback import count_codes
from ladderlight.board.scanning.scan import scan

MODE = MODES["640x480@60"]
AT_SYNC = {"x_start": 18, "x_reset": 0, "y_start": 35, "y_reset": 0}
"""Counters that are reset where sync begins: 96 + 48 of 800 dots are 18 of 100 counts, 2 + 33 lines are 35."""
BENCH = """
`timescale 1ns/1ps
module bench;
  reg clock = 0;
  reg [6:0] x = 5;
  reg [9:0] y = 3;
  reg hsync = 0, vsync = 0, hblank = 1, vblank = 1;
  integer count;
  reg [7:0] rom [0:32767];
  reg [7:0] held = 0;
  initial $readmemh("picture.hex", rom);
  wire [7:0] data = rom[{{2'b00, y[8:2], x[6:1]}}];
  always @(posedge clock) begin
    if (x[0] == 1) held <= data;
    x <= x == {x[last]} ? {x[reset_to]} : x + 1;
    if (x == {x[last]}) y <= y == {y[last]} ? {y[reset_to]} : y + 1;
  end
  always @(x) begin
    if (x == {x[sync_start]}) hsync = 1;
    if (x == {x[sync_end]}) hsync = 0;
    if (x == {x[blanking_start]}) hblank = 1;
    if (x == {x[blanking_end]}) hblank = 0;
  end
  always @(y) begin
    if (y == {y[sync_start]}) vsync = 1;
    if (y == {y[sync_end]}) vsync = 0;
    if (y == {y[blanking_start]}) vblank = 1;
    if (y == {y[blanking_end]}) vblank = 0;
  end
  initial begin
    for (count = 0; count < {counts}; count = count + 1) begin
      #5;
      $display("%0d %0d %0d %0d %0d", hsync, vsync, hblank, vblank, {shown});
      clock = 1;
      #5;
      clock = 0;
    end
    $finish;
  end
endmodule
"""


@dataclass(frozen=True)
class Frames:
    """Two frames and more, count by count: sync, blanking and the code on the ladders."""

    hsync: np.ndarray
    vsync: np.ndarray
    hblank: np.ndarray
    vblank: np.ndarray
    code: np.ndarray


@pytest.fixture
def simulated(tmp_path: Path, program: Callable[[str], str]) -> Callable[..., Frames]:
    """Build the hardware that a report describes and run it."""

    def run(raster: dict[str, Any], words: np.ndarray, *, registered: bool) -> Frames:
        (tmp_path / "picture.hex").write_text("\n".join(f"{word:x}" for word in words) + "\n")
        shown = "held" if registered else "data"
        counts = 5 * raster["x"]["total"] * raster["y"]["total"] // 2
        source = tmp_path / "bench.v"
        source.write_text(BENCH.format(x=raster["x"], y=raster["y"], counts=counts, shown=shown))
        bench = tmp_path / "bench"
        subprocess.run([program("iverilog"), "-g2005", "-o", bench, source], check=True, capture_output=True)
        ran = subprocess.run([program("vvp"), "-n", bench], check=True, cwd=tmp_path, capture_output=True, text=True)
        rows = [line.split() for line in ran.stdout.splitlines() if line[:1] in "01" and line.count(" ") == 4]
        assert len(rows) == counts, ran.stdout[:500]
        return Frames(*np.array(rows, dtype=np.int64).T)

    return run


def lengths(level: np.ndarray) -> list[tuple[int, int]]:
    """Give level and length of each run, without the two at the ends, which are cut."""
    return [(int(key), len(list(run))) for key, run in groupby(level)][1:-1]


def make(memory, ladder, counters: Counters, output: str) -> Board:
    """80 of 100 counts and 480 of 525 lines; a word for two counts and four lines."""
    board = Board(
        raster=Raster(mode=MODE, clock=MODE.dot_clock / 8),
        memories=(memory(address=["x1-x6", "y2-y8"], data=["v0-v7"], part="27C256", output=output),),
        ladder=ladder(grey={f"v{bit}": 100.0 * 2 ** (7 - bit) for bit in range(8)}),
        counters=counters,
        blanking="gate",
    )
    assert problems_of(board) == []
    return board


@pytest.mark.parametrize(
    ("starts", "delay", "output"),
    [
        pytest.param({}, 0, "direct", id="from 0"),
        pytest.param({}, 2, "register", id="from 0, all delayed"),
        pytest.param(AT_SYNC, 0, "direct", id="from sync"),
        pytest.param(AT_SYNC, 2, "register", id="from sync, delayed"),
        pytest.param(AT_SYNC, 0, "register", id="not delayed"),
        pytest.param({"x_start": 46, "x_reset": 28}, 1, "register", id="reset as it wraps, half as late"),
        pytest.param({"x_start": 9, "y_start": 7}, 5, "register", id="preset, too late"),
    ],
)
def test_sync_blanking_and_picture(memory, ladder, simulated, starts: dict[str, int], delay: int, output: str) -> None:
    board = make(memory, ladder, Counters(**starts, blanking_delay=delay), output)
    words = np.random.default_rng(7).integers(0, 256, board.memories[0].words).astype(np.uint32)
    frames = simulated(report(board, [])["raster"], words, registered=output == "register")
    assert set(lengths(frames.hsync)) == {(1, 96 // 8), (0, 704 // 8)}
    assert set(lengths(frames.hblank)) == {(1, 160 // 8), (0, 640 // 8)}
    assert set(lengths(frames.vsync)) == {(1, 2 * 100), (0, 523 * 100)}
    assert set(lengths(frames.vblank)) == {(1, 45 * 100), (0, 480 * 100)}
    rising = np.flatnonzero(np.diff(frames.hsync) == 1)
    blanked = np.flatnonzero(np.diff(frames.hblank) == 1)
    assert {(r - blanked[blanked <= r].max()) for r in rising[1:].tolist()} == {16 // 8}
    rising = np.flatnonzero(np.diff(frames.vsync) == 1)
    blanked = np.flatnonzero(np.diff(frames.vblank) == 1)
    assert {(r - blanked[blanked <= r].max()) for r in rising[1:].tolist()} == {10 * 100}

    begins = int(np.flatnonzero(np.diff(frames.vblank) == -1)[0]) + 1
    frame = slice(begins - 50, begins - 50 + 525 * 100)
    lit = (frames.hblank[frame] | frames.vblank[frame]) == 0
    seen = frames.code[frame][lit].reshape(480, 80)
    assert np.array_equal(seen, count_codes(board, {"picture": words}))
    picture = scan(board, {"picture": words}, board.x_grid.counts[None, :], board.y_grid.counts[:, None]).codes
    fits = delay == (2 if output == "register" else 0)
    assert np.array_equal(seen, picture) is fits
