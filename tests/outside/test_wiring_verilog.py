"""The scan against digital hardware: counters, gates, memories and registers simulated in Verilog.

Each board below is written a second time, by hand, as hardware: counters that are preset and step, address nets, arrays
loaded with ``$readmemh`` (IEEE 1364), registers and shift registers. Icarus Verilog simulates every visible count of a
frame. Independent simulator: ``iverilog`` and ``vvp`` (Debian ``iverilog``).
"""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from ladderlight.board import MODES, Board, Counters, Packing, Part, Raster
from ladderlight.board.advice.checks import problems_of
from ladderlight.board.scanning.playback import play
from ladderlight.board.scanning.scan import scan

BENCH = """
`timescale 1ns/1ps
module bench;
  reg clock = 0;
  integer column, line;
  reg [{x_bits_1}:0] x;
  reg [{y_bits_1}:0] y;
  reg [3:0] bank = {bank};
  wire [15:0] code;
{hardware}
  initial begin
    // One line of blanking first, so that registers hold what the counters addressed before the first visible count.
    line = {y_total} - 1; y = {y_start} + {y_total} - 1;
    repeat ({y_visible} + 1) begin
      x = {x_start};
      for (column = 0; column < {x_total}; column = column + 1) begin
        #5;
        if (line < {y_visible} && column < {x_visible}) $display("%0d", code);
        clock = 1;
        #5;
        clock = 0;
        if (column < {x_total} - 1) x = x + 1;
        #0;
      end
      if (line == {y_total} - 1) begin line = 0; y = {y_start}; end
      else begin line = line + 1; y = y + 1; end
    end
    $finish;
  end
endmodule
"""


@dataclass(frozen=True)
class Model:
    """A board and the same board as Verilog."""

    board: Board
    hardware: str


def simulate(model: Model, words: dict[str, np.ndarray], bank: int, folder: Path, program) -> np.ndarray:
    """Give the code at every visible count of a frame, shape (lines, counts)."""
    board = model.board
    compiler, runner = program("iverilog"), program("vvp")
    for name, values in words.items():
        (folder / f"{name}.hex").write_text("\n".join(f"{value:x}" for value in values) + "\n")
    source = folder / "bench.v"
    source.write_text(
        BENCH.format(
            hardware=model.hardware,
            bank=bank,
            x_bits_1=board.x_counter.bits - 1,
            y_bits_1=board.y_counter.bits - 1,
            x_start=board.counters.x_start,
            y_start=board.counters.y_start,
            x_total=board.raster.x.total,
            y_total=board.raster.y.total,
            x_visible=board.raster.x.visible,
            y_visible=board.raster.y.visible,
        )
    )
    subprocess.run([compiler, "-g2005", "-o", folder / "bench", source], check=True, cwd=folder, capture_output=True)
    run = subprocess.run([runner, "-n", folder / "bench"], check=True, cwd=folder, capture_output=True, text=True)
    assert "WARNING" not in run.stdout + run.stderr, run.stdout[:500] + run.stderr[:500]
    codes = [line for line in run.stdout.splitlines() if line.strip().isdigit()]
    size = (board.raster.y.visible, board.raster.x.visible)
    assert len(codes) == size[0] * size[1], run.stdout[:500]
    return np.array(codes, dtype=np.int64).reshape(size)


def scanned(board: Board, words: dict[str, np.ndarray], bank: int) -> np.ndarray:
    return scan(board, words, board.x_grid.counts[None, :], board.y_grid.counts[:, None], bank).codes


def noise(board: Board, seed: int) -> dict[str, np.ndarray]:
    random = np.random.default_rng(seed)
    return {m.name: random.integers(0, 1 << m.part.width, m.words).astype(np.uint32) for m in board.memories}


def board_of(*memories, ladder, mode: str = "640x480@60", divide: int = 8, **more) -> Board:
    raster = Raster(mode=MODES[mode], clock=MODES[mode].dot_clock / divide)
    board = Board(raster=raster, memories=memories, ladder=ladder, **more)
    assert problems_of(board) == []
    return board


@pytest.fixture
def eight_bits(ladder):
    """Make a grey ladder of eight lines."""
    return ladder(grey={f"v{bit}": 100.0 * 2 ** (7 - bit) for bit in range(8)})


def gates(memory, eight_bits) -> Model:
    """Any order, inverters, exclusive-or gates, constants, two chips in a row, counters that do not start at 0."""
    board = board_of(
        memory(
            address=["y1", "x6-x0", "!y2", "x2^y3", "high", "y8-y4", "!x1^bank0", "bank1"],
            data=["v0-v7"],
            part="27C512",
            chips=4,
        ),
        ladder=eight_bits,
        counters=Counters(x_start=5, y_start=3),
    )
    return Model(
        board,
        """
  reg [7:0] low_chip [0:65535], second_chip [0:65535], third_chip [0:65535], high_chip [0:65535];
  reg [7:0] all [0:262143];
  integer i;
  initial begin
    $readmemh("picture.hex", all);
    for (i = 0; i < 65536; i = i + 1) begin
      low_chip[i] = all[i]; second_chip[i] = all[65536 + i];
      third_chip[i] = all[131072 + i]; high_chip[i] = all[196608 + i];
    end
  end
  wire [17:0] a;
  assign a[0] = y[1];
  assign a[7:1] = {x[0], x[1], x[2], x[3], x[4], x[5], x[6]};
  assign a[8] = ~y[2];
  assign a[9] = x[2] ^ y[3];
  assign a[10] = 1'b1;
  assign a[15:11] = {y[4], y[5], y[6], y[7], y[8]};
  assign a[16] = ~(x[1] ^ bank[0]);
  assign a[17] = bank[1];
  wire [7:0] q = a[17] ? (a[16] ? high_chip[a[15:0]] : third_chip[a[15:0]])
                       : (a[16] ? second_chip[a[15:0]] : low_chip[a[15:0]]);
  assign code = q;
""",
    )


def test_gates_and_chips(memory, eight_bits, tmp_path: Path, program) -> None:
    model = gates(memory, eight_bits)
    words = noise(model.board, 1)
    for bank in (0, 3):
        assert np.array_equal(scanned(model.board, words, bank), simulate(model, words, bank, tmp_path, program))


def test_the_simulation_would_show_a_difference(memory, eight_bits, tmp_path: Path, program) -> None:
    model = gates(memory, eight_bits)
    other = Model(model.board, model.hardware.replace("x[2] ^ y[3]", "x[2] & y[3]"))
    words = noise(model.board, 1)
    assert not np.array_equal(scanned(model.board, words, 0), simulate(other, words, 0, tmp_path, program))


def test_a_map_memory_with_mirrored_tiles(memory, eight_bits, tmp_path: Path, program) -> None:
    board = board_of(
        memory("tile", address=["x0-x2^map.d6", "y0-y2^map.d7", "map.d0-map.d5"], data=["v0-v7"], part="28C64"),
        memory("map", address=["x3-x6", "y3-y8", "bank0"], data=[], part="28C16"),
        ladder=eight_bits,
    )
    model = Model(
        board,
        """
  reg [7:0] tile [0:8191];
  reg [7:0] map [0:2047];
  initial begin $readmemh("tile.hex", tile); $readmemh("map.hex", map); end
  wire [7:0] m = map[{bank[0], y[8:3], x[6:3]}];
  wire [2:0] across = m[6] ? ~x[2:0] : x[2:0];
  wire [2:0] down = m[7] ? ~y[2:0] : y[2:0];
  assign code = tile[{m[5:0], down, across}];
""",
    )
    words = noise(board, 2)
    for bank in (0, 1):
        assert np.array_equal(scanned(board, words, bank), simulate(model, words, bank, tmp_path, program))


@pytest.mark.parametrize("order", ["msb_first", "lsb_first"])
def test_a_shift_register(memory, ladder, order: str, tmp_path: Path, program) -> None:
    """The register takes a word at the last clock edge of its eight counts and shifts it out during the next eight."""
    board = board_of(
        memory(
            address=["x3-x9", "y2-y8"],
            data=["v0"],
            part="28C256",
            packing=Packing(pixels=8, order=order),
            output="register",
        ),
        ladder=ladder(grey={"v0": 150.0}),
        divide=1,
        mode="640x350@70",
    )
    shift = "{shift[6:0], 1'b0}" if order == "msb_first" else "{1'b0, shift[7:1]}"
    out = "shift[7]" if order == "msb_first" else "shift[0]"
    model = Model(
        board,
        f"""
  reg [7:0] rom [0:32767];
  reg [7:0] shift;
  initial $readmemh("picture.hex", rom);
  always @(posedge clock) if (x[2:0] == 7) shift <= rom[{{y[8:2], x[9:3]}}]; else shift <= {shift};
  assign code = {out};
""",
    )
    words = noise(board, 3)
    simulated = simulate(model, words, 0, tmp_path, program)
    assert np.array_equal(play(board, words).codes, simulated)
    # The picture itself stands one word, eight counts, further right.
    assert np.array_equal(scanned(board, words, 0)[:, :-8], simulated[:, 8:])


def test_a_multiplexer_and_a_look_up_memory_behind_registers(memory, ladder, tmp_path: Path, program) -> None:
    """Four pixels of four bits in a word of 16, picked by a multiplexer, into a registered look-up memory."""
    board = board_of(
        memory("colour", address=["index0-index3", "bank0"], data=["v0-v7"], part="2716", output="register"),
        memory(
            "picture",
            address=["x2-x8", "y1-y8"],
            data=["index0-index3"],
            part=Part(number="wide", words=32_768, width=16),
            packing=Packing(pixels=4, order="lsb_first"),
        ),
        ladder=ladder(grey={f"v{bit}": 100.0 * 2 ** (7 - bit) for bit in range(8)}),
        divide=2,
    )
    model = Model(
        board,
        """
  reg [15:0] rom [0:32767];
  reg [7:0] colour [0:2047];
  reg [7:0] q;
  initial begin $readmemh("picture.hex", rom); $readmemh("colour.hex", colour); end
  wire [15:0] w = rom[{y[8:1], x[8:2]}];
  wire [3:0] index = x[1] ? (x[0] ? w[15:12] : w[11:8]) : (x[0] ? w[7:4] : w[3:0]);
  always @(posedge clock) q <= colour[{bank[0], index}];
  assign code = q;
""",
    )
    words = noise(board, 4)
    for bank in (0, 1):
        simulated = simulate(model, words, bank, tmp_path, program)
        shown = play(board, words, bank)
        assert np.array_equal(shown.codes[:, ::2], simulated)  # two monitor pixels a count
        assert np.array_equal(scanned(board, words, bank)[:, :-1], simulated[:, 1:])


def test_planes_of_16_bit_words(memory, eight_bits, tmp_path: Path, program) -> None:
    board = board_of(
        memory("low", address=["x0-x6", "y1-y8"], data=["-", "v0-v3"], part="27C1024"),
        memory("high", address=["y1-y8", "x6-x0"], data=["v4-v7"], part="27C256"),
        ladder=eight_bits,
        counters=Counters(y_start=17),
    )
    model = Model(
        board,
        """
  reg [15:0] low [0:65535];
  reg [7:0] high [0:32767];
  initial begin $readmemh("low.hex", low); $readmemh("high.hex", high); end
  wire [15:0] l = low[{1'b0, y[8:1], x[6:0]}];
  wire [7:0] h = high[{x[0], x[1], x[2], x[3], x[4], x[5], x[6], y[8:1]}];
  assign code = {h[3:0], l[4:1]};
""",
    )
    words = noise(board, 5)
    assert np.array_equal(scanned(board, words, 0), simulate(model, words, 0, tmp_path, program))


def test_fraction_of_the_dot_clock(memory, eight_bits) -> None:
    """What the simulations above count is the raster's own figure."""
    board = board_of(memory(address=["x0-x6", "y1-y8"], data=["v0-v7"]), ladder=eight_bits)
    assert board.raster.ratio == Fraction(1, 8)
    assert (board.raster.x.visible, board.raster.x.total) == (80, 100)


def test_tiles_through_a_shift_register(memory, ladder, tmp_path: Path, program) -> None:
    """A word of the tile memory is a tile's row; the register sends it while the map is read for the next tile."""
    board = board_of(
        memory(
            "tile",
            address=["y0-y2", "map.d0-map.d6"],
            data=["v0"],
            part="28C16",
            packing=Packing(pixels=8),
            output="register",
        ),
        memory("map", address=["x3-x9", "y3-y8"], data=[], part="28C64"),
        ladder=ladder(grey={"v0": 150.0}),
        divide=1,
        mode="640x400@70",
    )
    model = Model(
        board,
        """
  reg [7:0] tile [0:2047];
  reg [7:0] map [0:8191];
  reg [7:0] shift;
  initial begin $readmemh("tile.hex", tile); $readmemh("map.hex", map); end
  wire [7:0] m = map[{y[8:3], x[9:3]}];
  always @(posedge clock) if (x[2:0] == 7) shift <= tile[{m[6:0], y[2:0]}]; else shift <= shift << 1;
  assign code = shift[7];
""",
    )
    words = noise(board, 6)
    simulated = simulate(model, words, 0, tmp_path, program)
    assert np.array_equal(play(board, words).codes, simulated)
    assert np.array_equal(scanned(board, words, 0)[:, :-8], simulated[:, 8:])
