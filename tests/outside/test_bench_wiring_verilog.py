"""The wiring of a bench sheet, built as digital hardware from the sheet alone, against the picture that it must show.

Memories are addressed by the lines at their address pins and read after an access time; gates, registers, selectors and
shift registers do what their kind does, with the inputs, clocks and controls of the sheet; the pixels of a word enter a
shift register in the order in which the sheet's words give them. Counters and blanking are the test's own. What the
ladders' lines carry while blank is low must be the picture of the example, for random contents of all memories.
Independent simulator: ``iverilog`` and ``vvp`` (Debian ``iverilog``).
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from ladderlight.bench.gates import Unit
from ladderlight.bench.wiring import Wiring, wiring_of
from ladderlight.board import Board
from ladderlight.board.scanning.playback import count_codes
from ladderlight.recipe import load

RECIPES = Path(__file__).parents[2] / "recipes"
LINES = 20
BANK = 1
PLACE = re.compile(r"(U\d+) .*?, pixel (\d+) of (\d+) from the left")

BENCH = """
`timescale 1ns/1ps
module bench;
  reg clock = 0;
  integer x = 0, y = 0, bank = {bank}, count;
  wire blank = !(count % {total} >= {delay} && count % {total} < {delay} + {visible});
  wire [31:0] xs = x, ys = y, banks = bank;
{body}
  always @(posedge clock) begin
    if (x == {total} - 1) begin x <= 0; y <= y + 1; end else x <= x + 1;
  end
  initial begin
{loads}
    for (count = 0; count < {lines} * {total}; count = count + 1) begin
      #39;
      if (!blank) $display("%b", {shown});
      clock = 1; #1; clock = 0;
    end
    $finish;
  end
endmodule
"""


class Hardware:
    """The sheet's wiring as Verilog. A line that passes units has a node before each of them."""

    def __init__(self, board: Board, wiring: Wiring) -> None:
        self.board, self.wiring = board, wiring
        self.body: list[str] = []
        self.names: dict[str, str] = {}
        self.memories()
        for number, unit in enumerate(wiring.gates.units):
            self.unit(f"u{number}", unit)

    def wire(self, line: str) -> str:
        """The node of a line as it is used; a counter's bit is of the test's own counter."""
        if line in ("low", "high"):
            return "1'b0" if line == "low" else "1'b1"
        if line == "x clock":
            return "clock"
        if line == "blank":
            return "blank"
        if match := re.fullmatch(r"(x|y|bank)(\d+)", line):
            return f"{match[1]}s[{match[2]}]"
        if line not in self.names:
            self.names[line] = f"n{len(self.names)}"
            self.body.insert(0, f"  wire {self.names[line]};")
        return self.names[line]

    def node(self, line: str, stage: int) -> str:
        """The node of a data line behind so many of its units."""
        path = self.wiring.gates.paths.get(line, ())
        return self.wire(line if stage == len(path) else f"{line} behind {stage}")

    def memories(self) -> None:
        for number, chip in enumerate(self.wiring.chips):
            lines = {pin.name: pin.line for pin in chip.pins}
            width = sum(re.fullmatch(r"D\d+", name) is not None for name in lines)
            pins = sum(re.fullmatch(r"A\d+", name) is not None for name in lines)
            address = ", ".join(self.wire(lines[f"A{bit}"]) for bit in reversed(range(pins)))
            self.body += [
                f"  reg [{width - 1}:0] rom{number} [0:{(1 << pins) - 1}];",
                f"  wire [{width - 1}:0] d{number};",
                f"  assign #20 d{number} = rom{number}[{{{address}}}];",
            ]
            for bit in range(width):
                line = lines[f"D{bit}"]
                if line and not any(PLACE.match(pin.to) for pin in chip.pins if pin.name == f"D{bit}"):
                    self.body.append(f"  assign {self.node(line, 0)} = d{number}[{bit}];")

    def pixels(self, unit: Unit) -> str:
        """The data pins at a unit that takes a whole word, the leftmost pixel first."""
        places = {
            int(match[2]): f"d{number}[{pin.name[1:]}]"
            for number, chip in enumerate(self.wiring.chips)
            for pin in chip.pins
            if (match := PLACE.match(pin.to)) and match[1] == unit.package
        }
        return ", ".join(places[place] for place in sorted(places))

    def unit(self, name: str, unit: Unit) -> None:
        controls = dict(unit.controls)
        paths = [(line, list(path)) for line, path in self.wiring.gates.paths.items() if unit in path]
        output, source = self.wire(unit.outputs[0]), [self.wire(line) for line in unit.inputs]
        if paths:
            ((line, path),) = paths
            stage = path.index(unit)
            output = self.node(line, stage + 1)
            source = [self.node(line, stage) if used == line else self.wire(used) for used in unit.inputs]
        match unit.logic.value.number:
            case "74HC04":
                self.body.append(f"  assign {output} = ~{source[0]};")
            case "74HC86":
                self.body.append(f"  assign {output} = {source[0]} ^ {source[1]};")
            case "74HC08":
                self.body.append(f"  assign {output} = {source[0]} & {source[1]};")
            case "74HC00" | "74HC10" | "74HC20":
                self.body.append(f"  assign {output} = ~({' & '.join(source)});")
            case "74HC574" | "74HC273":
                self.body += [
                    f"  reg {name} = 0;",
                    f"  always @(posedge {self.wire(controls['clock'])}) {name} <= {source[0]};",
                ]
                off = self.wire(controls["/OE"]) if "/OE" in controls else f"~{self.wire(controls['/clear'])}"
                self.body.append(f"  assign {output} = {off} ? 1'b0 : {name};")
            case "74HC166":
                clock, load = self.wire(controls["clock"]), self.wire(controls["/load"])
                self.body += [
                    f"  reg [7:0] {name} = 0;",
                    f"  always @(posedge {clock}) {name} <= {load} ? {name} << 1 : {{{self.pixels(unit)}}};",
                    f"  assign {output} = {name}[7];",
                ]
            case other:
                raise AssertionError(f"no hardware for {other}")


@pytest.mark.parametrize(
    "name", ["evening-window", "ferry-times", "lighthouse", "lobby", "sea-window", "survey-desk", "tide-chart"]
)
def test_the_wiring_shows_the_picture(name: str, program: Callable[[str], str], tmp_path: Path) -> None:
    board = load(RECIPES / name / "recipe.toml", pictures="ignored").board
    rng = np.random.default_rng(3)
    words = {
        memory.name: rng.integers(0, 1 << memory.part.width, memory.words).astype(np.uint32)
        for memory in board.memories
    }
    hardware = Hardware(board, wiring_of(board))
    loads = []
    for number, chip in enumerate(hardware.wiring.chips):
        (tmp_path / f"{number}.hex").write_text("\n".join(f"{word:x}" for word in words[chip.device]) + "\n")
        loads.append(f'    $readmemh("{number}.hex", rom{number});')
    raster = board.raster.x
    shown = ", ".join(hardware.wire(line) for line in reversed(board.code_lines))
    text = BENCH.format(
        bank=BANK,
        total=raster.total,
        visible=raster.visible,
        delay=board.counters.blanking_delay,
        body="\n".join(hardware.body),
        loads="\n".join(loads),
        lines=LINES,
        shown=f"{{{shown}}}",
    )
    (tmp_path / "bench.v").write_text(text)
    subprocess.run([program("iverilog"), "-g2012", "-o", tmp_path / "bench", tmp_path / "bench.v"], check=True)
    ran = subprocess.run(
        [program("vvp"), "-n", tmp_path / "bench"], check=True, cwd=tmp_path, capture_output=True, text=True
    )
    codes = [int(row, 2) for row in ran.stdout.split() if re.fullmatch("[01]+", row)]
    expected = count_codes(board, words, BANK)[:LINES]
    assert np.array(codes).reshape(LINES, raster.visible).tolist() == expected.tolist()
    assert len(np.unique(expected)) > 1
