"""The wiring of a bench sheet, built as digital hardware from the sheet alone, against the picture that it must show.

Every pin of every socket is a wire, joined to what the sheet's words name for it. Memories are read after access times;
gates, registers and shift registers do with their pins what their datasheets say (from memory). Counters and blanking
are the test's own. What the sheet's sources of the ladders' lines carry while blank is low must be the picture of the
example, for random contents of all memories.
Independent simulator: ``iverilog`` and ``vvp`` (Debian ``iverilog``).
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from ladderlight.bench.wiring import WiredChip, Wiring
from ladderlight.board.scanning.playback import count_codes
from ladderlight.board.scanning.timing_lines import timing_pins, timing_words
from ladderlight.recipe import load_revisions

RECIPES = Path(__file__).parents[2] / "recipes"
LINES = 20
BANK = 1
SIGNALS = (
    (r"(U\d+) pin (\d+) ", r"\1_\2"),
    (r"x counter, bit (\d+)", r"xs[\1]"),
    (r"y counter, bit (\d+)", r"ys[\1]"),
    (r"switch or frame counter, bit (\d+)", r"banks[\1]"),
    (r"oscillator$", "clock"),
    (r"decoder of the counts, high during blanking", "blank"),
    (r"GND", "1'b0"),
    (r"VCC", "1'b1"),
)
"""What a pin is wired to, and its signal in the test's hardware."""

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
    """The sheet's sockets as Verilog: a wire for each pin, and for each part what it does with its pins."""

    def __init__(self, wiring: Wiring) -> None:
        self.wiring = wiring
        self.body: list[str] = []
        for number, chip in enumerate(wiring.chips):
            self.declare(chip)
            self.memory(number, chip)
        for chip in wiring.logic:
            self.declare(chip)
            self.part(chip)

    def declare(self, chip: WiredChip) -> None:
        self.body += [f"  wire {chip.label}_{pin.number};" for pin in chip.pins]

    def at(self, to: str) -> str:
        """The signal that a pin is wired to, from the sheet's words for it."""
        for pattern, signal in SIGNALS:
            if match := re.match(pattern, to):
                return match.expand(signal)
        raise AssertionError(f"no signal for {to!r}")

    def memory(self, number: int, chip: WiredChip) -> None:
        named = {pin.name: pin for pin in chip.pins}
        width, pins = (sum(re.fullmatch(rf"{kind}\d+", name) is not None for name in named) for kind in "DA")
        address = ", ".join(self.at(named[f"A{bit}"].to) for bit in reversed(range(pins)))
        self.body += [
            f"  reg [{width - 1}:0] rom{number} [0:{(1 << pins) - 1}];",
            f"  wire [{width - 1}:0] d{number};",
            f"  assign #20 d{number} = rom{number}[{{{address}}}];",
        ]
        for bit in range(width):
            self.body.append(f"  assign {chip.label}_{named[f'D{bit}'].number} = d{number}[{bit}];")

    def part(self, chip: WiredChip) -> None:
        named = {pin.name: pin for pin in chip.pins}

        def given(name: str) -> str:
            return self.at(named[name].to)

        def made(name: str) -> str:
            return f"{chip.label}_{named[name].number}"

        kept = f"k{chip.label}"
        match chip.part:
            case "74HC04":
                self.body += [f"  assign {made(f'{n}Y')} = ~{given(f'{n}A')};" for n in range(1, 7)]
            case "74HC86" | "74HC08":
                sign = "^" if chip.part == "74HC86" else "&"
                self.body += [
                    f"  assign {made(f'{n}Y')} = {given(f'{n}A')} {sign} {given(f'{n}B')};" for n in range(1, 5)
                ]
            case "74HC10":
                for n in range(1, 4):
                    inputs = " & ".join(given(f"{n}{letter}") for letter in "ABC")
                    self.body.append(f"  assign {made(f'{n}Y')} = ~({inputs});")
            case "74HC574" | "74HC273":
                inputs = ", ".join(given(f"{n}D") for n in range(1, 9))
                off = given("/OE") if chip.part == "74HC574" else f"~{given('/CLR')}"
                self.body += [
                    f"  reg [1:8] {kept} = 0;",
                    f"  always @(posedge {given('CLK')}) {kept} <= {{{inputs}}};",
                    *(f"  assign {made(f'{n}Q')} = {off} ? 1'b0 : {kept}[{n}];" for n in range(1, 9)),
                ]
            case "74HC166":
                inputs = ", ".join(given(letter) for letter in "HGFEDCBA")
                self.body += [
                    f"  reg [7:0] {kept} = 0;",
                    f"  always @(posedge {given('CLK')}) if (!{given('CLKINH')})",
                    f"    {kept} <= {given('/LOAD')} ? {{{kept}[6:0], {given('SER')}}} : {{{inputs}}};",
                    f"  assign {made('QH')} = {kept}[7];",
                ]
            case other:
                raise AssertionError(f"no hardware for {other}")


@pytest.mark.parametrize("name", sorted(path.parent.name for path in RECIPES.glob("*/recipe.toml")))
def test_the_wiring_shows_the_picture(name: str, program: Callable[[str], str], tmp_path: Path) -> None:
    board = load_revisions(RECIPES / name / "recipe.toml", pictures="ignored")[0].board
    rng = np.random.default_rng(3)
    words = {
        memory.name: rng.integers(0, 1 << memory.part.width, memory.words).astype(np.uint32)
        for memory in board.memories
    }
    for memory in board.memories:
        if timing_pins(memory):
            levels, needed = timing_words(board, memory)
            words[memory.name] = words[memory.name] & ~needed | levels & needed
    hardware = Hardware(Wiring(board))
    sources = {line.name: line.source for line in hardware.wiring.lines}
    loads = []
    for number, chip in enumerate(hardware.wiring.chips):
        (tmp_path / f"{number}.hex").write_text("\n".join(f"{word:x}" for word in words[chip.device]) + "\n")
        loads.append(f'    $readmemh("{number}.hex", rom{number});')
    raster = board.raster.x
    shown = ", ".join(hardware.at(sources[line]) for line in reversed(board.code_lines))
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
