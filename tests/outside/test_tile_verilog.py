"""Tile boards as hardware: our memory files in a Verilog model put out our scan, and with it the picture.

The models are written by hand: a line and a frame counter, a map memory, tile memories, exclusive-or gates or shift
registers, loaded with the files of ``verilog_mem`` (``$readmemh``, IEEE 1364). Independent simulator: ``iverilog`` and
``vvp`` (Debian ``iverilog``).
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
import pytest

from ladderlight import CodedPicture, Origin
from ladderlight.board import MODES, Board, Packing, Raster
from ladderlight.board.advice.checks import problems_of
from ladderlight.board.scanning.scan import scan
from ladderlight_stages.arrangements.tiles import tiles
from ladderlight_stages.emissions.verilog_mem import verilog_mem

COUNTERS = """
module counter(input clock, input clear, input enable, output reg [9:0] count);
  always @(posedge clock) if (clear) count <= 10'd0; else if (enable) count <= count + 10'd1;
endmodule

module bench;
  reg clock = 0, blank = 1;
  wire [9:0] x, y;
  wire line_end = x == {x_total} - 1;
  counter across(clock, blank || line_end, 1'b1, x);
  counter down(clock, blank || (line_end && y == {y_total} - 1), line_end, y);
  reg [1:0] bank = {bank};
  wire [5:0] code;
{hardware}
  integer step;
  initial begin
    #5 clock = 1; #5 clock = 0; blank = 0;
    for (step = 0; step < {x_total} * {y_visible}; step = step + 1) begin
      #5 if (x < {x_visible}) $display("%0d", code);
      clock = 1; #5 clock = 0;
    end
    $finish;
  end
endmodule
"""

GATED = """
  reg [7:0] map_memory [0:8191];
  reg [7:0] tile_memory [0:4095];
  initial begin $readmemh("map.mem", map_memory); $readmemh("tiles.mem", tile_memory); end
  wire [7:0] m = map_memory[{2'b00, bank, y[8:5], x[7:3]}];
  wire [11:0] a;
  xor mirror_x0(a[0], x[0], m[6]), mirror_x1(a[1], x[1], m[6]), mirror_x2(a[2], x[2], m[6]);
  xor mirror_y0(a[3], y[2], m[7]), mirror_y1(a[4], y[3], m[7]), mirror_y2(a[5], y[4], m[7]);
  assign a[11:6] = m[5:0];
  wire [7:0] d = tile_memory[a];
  assign code = d[5:0];
"""

SHIFTED = """
  reg [7:0] map_memory [0:8191];
  reg [7:0] low [0:8191], high [0:8191];
  initial begin $readmemh("map.mem", map_memory); $readmemh("low.mem", low); $readmemh("high.mem", high); end
  wire [7:0] m = map_memory[{2'b00, bank, y[8:5], x[7:3]}];
  wire [12:0] a = {2'b00, m, y[4:2]};
  // Both shift registers take their words when the counter comes to a new cell; high bit first, low bit first.
  wire [7:0] low_word = low[a], high_word = high[a];
  wire [7:0] low_shifted = low_word << x[2:0], high_shifted = high_word >> x[2:0];
  assign code = {4'b0000, high_shifted[0], low_shifted[7]};
"""


def mosaic(board: Board, seed: int, stock: int, *, mirrored: bool) -> np.ndarray:
    """Codes laid from a few random tiles of 8x8, mirrored at random."""
    random = np.random.default_rng(seed)
    kinds = np.random.default_rng(5).integers(0, len(board.palette), (stock, 8, 8))
    height, width = board.geometry.height, board.geometry.width
    codes = np.zeros((height, width), dtype=np.uint16)
    for y in range(0, height, 8):
        for x in range(0, width, 8):
            tile = kinds[random.integers(stock)]
            if mirrored:
                tile = tile[:: 1 - 2 * random.integers(2), :: 1 - 2 * random.integers(2)]
            codes[y : y + 8, x : x + 8] = tile
    return codes


def simulate(board: Board, hardware: str, bank: int, folder: Path, program) -> np.ndarray:
    """Run the model over the visible lines; gives the code at every visible count."""
    source = folder / "bench.v"
    filled = {
        "x_total": board.raster.x.total,
        "y_total": board.raster.y.total,
        "x_visible": board.raster.x.visible,
        "y_visible": board.raster.y.visible,
        "bank": bank,
    }
    text = COUNTERS
    for name, value in filled.items():
        text = text.replace("{" + name + "}", str(value))
    source.write_text(text.replace("{hardware}", hardware))
    compiler, runner = program("iverilog"), program("vvp")
    subprocess.run([compiler, "-g2005", "-o", folder / "bench", source], check=True, capture_output=True, timeout=60)
    run = subprocess.run([runner, "-n", "bench"], check=True, cwd=folder, capture_output=True, text=True, timeout=60)
    assert "WARNING" not in run.stdout + run.stderr, run.stdout[:500] + run.stderr[:500]
    codes = [line for line in run.stdout.splitlines() if line.isdigit()]
    return np.array(codes, dtype=np.int64).reshape(board.raster.y.visible, board.raster.x.visible)


@pytest.fixture
def tiled(memory, ladder):
    """Make a board of 160 counts a line with the given memories, in 64 or 4 codes."""

    def make(*memories, **channels) -> Board:
        raster = Raster(mode=MODES["640x480@60"], clock=MODES["640x480@60"].dot_clock / 4)
        board = Board(raster=raster, memories=memories, ladder=ladder(**channels))
        assert problems_of(board) == []
        assert (board.geometry.width, board.geometry.height) == (160, 120)
        return board

    return make


def gated_board(tiled, memory) -> Board:
    return tiled(
        memory("map", address=["x3-x7", "y5-y8", "bank0-bank1"], data=["-"], part="28C64"),
        memory(
            "tiles",
            address=["x0-x2^map.d6", "y2-y4^map.d7", "map.d0-map.d5"],
            data=["b0-b1", "g0-g1", "r0-r1"],
            part="2732",
        ),
        red={"r0": 1500.0, "r1": 680.0},
        green={"g0": 1500.0, "g1": 680.0},
        blue={"b0": 1500.0, "b1": 680.0},
    )


def shifted_board(tiled, memory) -> Board:
    return tiled(
        memory("map", address=["x3-x7", "y5-y8", "bank0-bank1"], data=["-"], part="28C64"),
        memory("low", address=["y2-y4", "map.d0-map.d7"], data=["g0"], part="28C64", packing=Packing(pixels=8)),
        memory(
            "high",
            address=["y2-y4", "map.d0-map.d7"],
            data=["g1"],
            part="28C64",
            packing=Packing(pixels=8, order="lsb_first"),
        ),
        grey={"g1": 680.0, "g0": 1500.0},
    )


@pytest.mark.parametrize(
    ("make", "hardware", "stock", "mirrored"),
    [(gated_board, GATED, 60, True), (gated_board, GATED, 90, True), (shifted_board, SHIFTED, 200, False)],
    ids=["gates", "gates and merged tiles", "shift registers"],
)
def test_the_model_puts_out_our_scan(tiled, memory, make, hardware, stock, mirrored, tmp_path: Path, program) -> None:
    board = make(tiled, memory)
    pictures = [
        CodedPicture(
            origin=Origin(name=name, source=name, bank=bank), codes=mosaic(board, bank, stock, mirrored=mirrored)
        )
        for name, bank in (("a", 0), ("b", 3))
    ]
    contents = tiles(pictures, board)
    merged = any("differ" in note for note in contents.notes)
    assert merged == (stock == 90)
    for file in verilog_mem(contents, board):
        (tmp_path / file.name).write_bytes(file.data)
    words = {name: part.words for name, part in contents.memories.items()}
    for picture, bank in zip(pictures, (0, 3), strict=True):
        seen = simulate(board, hardware, bank, tmp_path, program)
        counts = board.x_grid.counts[None, :], board.y_grid.counts[:, None]
        assert np.array_equal(seen, scan(board, words, *counts, bank).codes)
        wanted = picture.codes[np.ix_(board.y_grid.cells, board.x_grid.cells)]
        assert np.array_equal(seen, wanted) != merged


def test_the_model_would_show_a_missing_gate(tiled, memory, tmp_path: Path, program) -> None:
    board = gated_board(tiled, memory)
    codes = mosaic(board, 0, 60, mirrored=True)
    contents = tiles([CodedPicture(origin=Origin(name="a", source="a"), codes=codes)], board)
    for file in verilog_mem(contents, board):
        (tmp_path / file.name).write_bytes(file.data)
    broken = GATED.replace("xor mirror_x0(a[0], x[0], m[6])", "buf straight(a[0], x[0]); xor spare(s, x[0], m[6])")
    seen = simulate(board, broken.replace("wire [11:0] a;", "wire [11:0] a; wire s;"), 0, tmp_path, program)
    assert not np.array_equal(seen, codes[np.ix_(board.y_grid.cells, board.x_grid.cells)])
