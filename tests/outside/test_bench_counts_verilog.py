"""Counts of a bench sheet in hardware: gates of the bits that it gives, and latches that their first edges set.

A counter with a synchronous load is simulated over whole lines and frames. Sync, blanking and the reset are decoded by
the sheet's AND gates alone, and must have the lengths of the mode (VESA DMT); rises of every counter bit are counted
over a frame. Independent simulator: ``iverilog`` and ``vvp`` (Debian ``iverilog``).
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from ladderlight.bench.counts import Axis, Decoded, axes_of
from ladderlight.board import Counters

BENCH = """
module bench;
  reg clock = 0;
  reg [{xtop}:0] x = {xreset};
  reg [{ytop}:0] y = {yreset};
  reg hsync = 0, hblank = 1, vsync = 0, vblank = 1;
  integer count, wide = 0, high = 0, tall = 0, dark = 0;
  integer xrise [0:15], yrise [0:15];
  integer bit;
  reg [15:0] xwas, ywas;
  always @(posedge clock) begin
    x <= {xlast} ? {xreset} : x + 1;
    if ({xlast}) y <= {ylast} ? {yreset} : y + 1;
  end
{latches}
  initial begin
    for (bit = 0; bit < 16; bit = bit + 1) begin xrise[bit] = 0; yrise[bit] = 0; end
    for (count = 0; count < 2 * {frame}; count = count + 1) begin
      #5;
      if (count >= {frame}) begin
        wide = wide + hsync; high = high + vsync; tall = tall + hblank; dark = dark + vblank;
        for (bit = 0; bit < 16; bit = bit + 1) begin
          if (x >> bit & ~(xwas >> bit) & 1) xrise[bit] = xrise[bit] + 1;
          if (y >> bit & ~(ywas >> bit) & 1) yrise[bit] = yrise[bit] + 1;
        end
      end
      xwas = x; ywas = y;
      clock = 1; #5; clock = 0;
    end
    $display("lengths %0d %0d %0d %0d", wide, high, tall, dark);
    for (bit = 0; bit < 16; bit = bit + 1) $display("bit %0d %0d %0d", bit, xrise[bit], yrise[bit]);
    $finish;
  end
endmodule
"""


def gate(axis: Axis, name: str) -> str:
    """The decoder of a count: the AND of the sheet's bits, or, where it says that none will do, a comparison."""
    (found,) = [item for item in axis.decoded if item.name == name]
    if not found.bits:
        return f"({axis.name} == {found.reading})"
    return "(" + " & ".join(f"{axis.name}[{bit}]" for bit in found.bits) + ")"


def latch(axis: Axis, output: str, start: str, end: str) -> str:
    """A latch that is set and cleared by the first edge of two gates since the reset."""
    lines = []
    for level, name in ((1, start), (0, end)):
        seen = f"{output}_{level}"
        lines.append(
            f"  reg {seen} = 0;\n  always @({axis.name}) begin\n"
            f"    if ({axis.name} == {reading(axis, 'reset')}) {seen} = 0;\n"
            f"    if ({gate(axis, name)} && !{seen}) begin {seen} = 1; {output} = {level}; end\n  end"
        )
    return "\n".join(lines)


def reading(axis: Axis, name: str) -> int:
    return next(item.reading for item in axis.decoded if item.name == name)


def width(axis: Axis) -> int:
    found: Decoded = axis.decoded[0]
    return found.width


@pytest.mark.parametrize(
    "counters",
    [
        pytest.param(Counters(), id="from 0"),
        pytest.param(Counters(blanking_delay=4), id="delayed"),
        pytest.param(Counters(x_start=18, x_reset=0, y_start=35, y_reset=0), id="reset at sync"),
        pytest.param(Counters(x_start=76, x_reset=64, y_start=70, y_reset=64), id="reset to 64"),
        pytest.param(Counters(x_start=60, y_start=700), id="preset, wrapping"),
    ],
)
def test_and_gates_decode_the_mode(
    make_board, memory, ladder, program: Callable[[str], str], tmp_path: Path, counters: Counters
) -> None:
    """640x480@60 by an eighth of its dot clock: 100 counts, 12 of sync, 20 blanked; 525 lines, 2 and 45."""
    board = make_board(
        memory(address=["x1-x6", "y3-y8"], data=["v0"], part="27C256"),
        clock="3146875",
        ladder=ladder(grey={"v0": 430.0}),
        counters=counters,
    )
    x, y = axes_of(board)
    text = BENCH.format(
        xtop=width(x) - 1,
        ytop=width(y) - 1,
        xreset=reading(x, "reset"),
        yreset=reading(y, "reset"),
        xlast=gate(x, "last"),
        ylast=gate(y, "last"),
        frame=100 * 525,
        latches="\n".join(
            latch(axis, output, start, end)
            for axis, output, start, end in (
                (x, "hsync", "sync start", "sync end"),
                (x, "hblank", "end of visible", "first visible"),
                (y, "vsync", "sync start", "sync end"),
                (y, "vblank", "end of visible", "first visible"),
            )
        ),
    )
    (tmp_path / "bench.v").write_text(text)
    subprocess.run([program("iverilog"), "-g2005", "-o", tmp_path / "bench", tmp_path / "bench.v"], check=True)
    ran = subprocess.run([program("vvp"), "-n", tmp_path / "bench"], check=True, capture_output=True, text=True)
    (lengths,) = re.findall(r"lengths (\d+) (\d+) (\d+) (\d+)", ran.stdout)
    assert list(map(int, lengths)) == [12 * 525, 2 * 100, 20 * 525, 45 * 100]
    rises = {int(bit): (int(a), int(b)) for bit, a, b in re.findall(r"bit (\d+) (\d+) (\d+)", ran.stdout)}
    frame_rate = 25.175e6 / 800 / 525
    for axis, place in ((x, 0), (y, 1)):
        for bit, (line, hertz) in enumerate(axis.tones.items()):
            assert hertz == pytest.approx(rises[bit][place] * frame_rate), line
    if counters == Counters():
        assert all(item.bits is not None for axis in (x, y) for item in axis.decoded)
