"""Wiring faults against digital hardware: the picture under each is that of a Verilog model with the fault wired in.

Five boards are written a second time as chips, pins and nets. Each seeded fault is read from its words, as somebody at
a bench would, and changes the nets of one copy of the model; Icarus Verilog then simulates a frame of all copies.
Nothing of the scan is shared. Independent simulator: ``iverilog`` and ``vvp`` (Debian ``iverilog``).
"""

from __future__ import annotations

import re
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from ladderlight.bench.faults.listing import WiringFault, faults_of
from ladderlight.board import MODES, Board, Counters, Packing, Raster
from ladderlight.board.advice.checks import problems_of
from ladderlight.proof.scanout import screen_codes

FAULTS_EACH = 14
BENCH = """
`timescale 1ns/1ps
module bench;
  reg clock = 0;
  integer column, line;
  reg [15:0] x, y;
{instances}
  initial begin
    line = {y_total} - 1; y = {y_start} + {y_total} - 1;
    repeat ({y_visible} + 1) begin
      x = {x_start};
      for (column = 0; column < {x_total}; column = column + 1) begin
        #5;
        if (line < {y_visible} && column < {x_visible}) $display("{formats}", {codes});
        clock = 1; #5; clock = 0;
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
class Chip:
    """A chip by hand: what drives each address pin, A0 first, and its size."""

    drivers: list[str]
    width: int = 8


@dataclass(frozen=True)
class Circuit:
    """A board by hand: chips, and the Verilog from their data nets (``picture_d0``) to ``code``; ``x``, ``y`` count."""

    chips: dict[str, Chip]
    output: str
    board: Board = field(repr=False, compare=False)

    def net(self, chip: str, pin: int) -> str:
        """The net at an address pin: a counter's or a data pin's, or the output of the pin's own gate."""
        driver = self.chips[chip].drivers[pin]
        if driver in ("low", "high"):
            return {"low": "1'b0", "high": "1'b1"}[driver]
        return f"{chip}_g{pin}" if re.search(r"[!^]", driver) else driver.replace(".", "_")

    def module(self, name: str, changed: dict[str, str]) -> str:
        """The model, in which some nets are driven by something else; ``..._drv`` is what should drive a net."""
        lines = [f"module {name}(input clock, input [15:0] x, input [15:0] y, output [15:0] code);"]

        def wire(net: str, driver: str) -> None:
            lines.extend([f"  wire {net}_drv = {driver};", f"  wire {net} = {changed.get(net, f'{net}_drv')};"])

        for letter in "xy":
            for bit in range(10):
                wire(f"{letter}{bit}", f"{letter}[{bit}]")
        for bit in range(2):
            wire(f"bank{bit}", "1'b0")
        for chip, made in self.chips.items():
            size = 1 << len(made.drivers)
            lines.append(f"  reg [{made.width - 1}:0] {chip}_rom [0:{size - 1}];")
            lines.append(f'  initial $readmemh("{chip}.hex", {chip}_rom);')
            for pin, driver in enumerate(made.drivers):
                if re.search(r"[!^]", driver):
                    wire(f"{chip}_g{pin}", driver.replace("!", "~").replace(".", "_"))
                wire(f"{chip}_a{pin}", self.net(chip, pin))
            address = ", ".join(f"{chip}_a{pin}" for pin in reversed(range(len(made.drivers))))
            lines.append(f"  wire [{made.width - 1}:0] {chip}_q = {chip}_rom[{{{address}}}];")
            for pin in range(made.width):
                wire(f"{chip}_d{pin}", f"{chip}_q[{pin}]")
        return "\n".join([*lines, self.output, "endmodule"])

    def changes(self, fault: WiringFault) -> dict[str, str]:
        """The nets that a fault changes, read from its words and its first pin's chip."""
        text, chip = fault.text, fault.chips[0].chip
        pins = [(letter.lower(), int(pin)) for letter, pin in re.findall(r"\b([AD])(\d+)\b", text)]
        at = [f"{chip}_{letter}{pin}" for letter, pin in pins]
        if match := re.fullmatch(r"(?:line|counter bit) (\w+) missing, and read as (low|high)", text):
            return {match[1]: level(match[2])}
        if match := re.fullmatch(r"(?:inverter|exclusive-or gate) at .* missing, and (\S+) wired through", text):
            return {f"{chip}_g{pins[0][1]}": match[1].replace(".", "_")}
        if text == f"output enable of {chip} inverted":
            return {f"{chip}_d{pin}": "1'b1" for pin in range(self.chips[chip].width)}
        if match := re.search(r"stuck (low|high)$", text):
            return {at[0]: level(match[1])}
        if text.endswith("inverted"):
            return {at[0]: f"~{at[0]}_drv"}
        if text.endswith("exchanged"):
            return {at[0]: f"{at[1]}_drv", at[1]: f"{at[0]}_drv"}
        match = re.search(r"bridged, and (low|high) wins$", text)
        assert match, text
        nets = at if pins[0][0] == "d" else [self.net(chip, pin) for _, pin in pins]
        constants = [net for net in nets if "'" in net]
        gate = {"low": "&", "high": "|"}[match[1]]
        mixed = constants[0] if constants else f"{nets[0]}_drv {gate} {nets[1]}_drv"
        return {net: mixed for net in nets if net not in constants}


def level(word: str) -> str:
    return {"low": "1'b0", "high": "1'b1"}[word]


def make(chips: dict[str, Chip], output: str, *memories, ladder, divide: int = 8, **more) -> Circuit:
    mode = MODES["640x480@60"]
    board = Board(raster=Raster(mode=mode, clock=mode.dot_clock / divide), memories=memories, ladder=ladder, **more)
    assert problems_of(board) == []
    return Circuit(chips, output, board)


def numbered(stem: str, first: int, last: int) -> list[str]:
    step = 1 if last >= first else -1
    return [f"{stem}{bit}" for bit in range(first, last + step, step)]


def code_of(*nets: str) -> str:
    return f"  assign code = {{{', '.join(reversed(nets))}}};"


@pytest.fixture
def circuits(memory, ladder):
    grey = ladder(grey={f"v{bit}": 100.0 * 2 ** (7 - bit) for bit in range(8)})
    one = ladder(grey={"v0": 150.0})

    def plain() -> Circuit:
        pins = [*numbered("x", 0, 6), *numbered("y", 1, 8), "low"]
        chips = {"picture": Chip(pins)}
        held = memory(address=["x0-x6", "y1-y8", "low"], data=["v0-v7"], part="27C512")
        return make(chips, code_of(*numbered("picture_d", 0, 7)), held, ladder=grey)

    def odd_order() -> Circuit:
        pins = ["y3", *numbered("x", 6, 2), "!y2", "x0^y5", "high", *numbered("y", 8, 6), "!x1^y4", "y1", "y5", "y4"]
        held = memory(
            address=["y3", "x6-x2", "!y2", "x0^y5", "high", "y8-y6", "!x1^y4", "y1", "y5", "y4"],
            data=["v7-v0"],
            part="27C512",
        )
        return make(
            {"picture": Chip(pins)},
            code_of(*numbered("picture_d", 0, 7)),
            held,
            ladder=grey,
            counters=Counters(x_start=5, y_start=3),
        )

    def side_by_side() -> Circuit:
        chips = {
            "low": Chip([*numbered("x", 0, 6), *numbered("y", 1, 8)]),
            "upper": Chip([*numbered("y", 1, 8), *numbered("x", 6, 0)]),
        }
        nets = [*numbered("low_d", 0, 3), *numbered("upper_d", 0, 3)]
        held = (
            memory("low", address=["x0-x6", "y1-y8"], data=["v0-v3"], part="27C256"),
            memory("upper", address=["y1-y8", "x6-x0"], data=["v4-v7"], part="27C256"),
        )
        return make(chips, code_of(*nets), *held, ladder=grey)

    def packed() -> Circuit:
        word = ", ".join(numbered("picture_d", 7, 0))
        output = f"""
  reg [7:0] shift;
  always @(posedge clock) if (x[2:0] == 7) shift <= {{{word}}}; else shift <= {{shift[6:0], 1'b0}};
  assign code = shift[7];"""
        held = memory(
            address=["x3-x8", "y1-y8"], data=["v0"], part="27128", packing=Packing(pixels=8), output="register"
        )
        chips = {"picture": Chip([*numbered("x", 3, 8), *numbered("y", 1, 8)])}
        return make(chips, output, held, ladder=one, divide=2)

    def tile_map() -> Circuit:
        gates = [*(f"x{bit}^map.d6" for bit in range(3)), *(f"y{bit}^map.d7" for bit in range(3))]
        chips = {
            "map": Chip([*numbered("x", 3, 6), *numbered("y", 3, 8), "bank0"]),
            "tile": Chip([*gates, *numbered("map.d", 0, 5), "low"]),
        }
        held = (
            memory(
                "tile", address=["x0-x2^map.d6", "y0-y2^map.d7", "map.d0-map.d5", "low"], data=["v0-v7"], part="28C64"
            ),
            memory("map", address=["x3-x6", "y3-y8", "bank0"], data=[], part="28C16"),
        )
        return make(chips, code_of(*numbered("tile_d", 0, 7)), *held, ladder=grey)

    return {made.__name__: made for made in (plain, odd_order, side_by_side, packed, tile_map)}


def simulate(circuit: Circuit, words: dict[str, np.ndarray], faults, folder: Path, program) -> np.ndarray:
    """The codes of all copies at every visible count of a frame, shape (lines, counts, copies)."""
    board, copies = circuit.board, range(len(faults))
    for name, values in words.items():
        (folder / f"{name}.hex").write_text("\n".join(f"{value:x}" for value in values) + "\n")
    modules = [circuit.module(f"copy{n}", circuit.changes(fault)) for n, fault in enumerate(faults)]
    bench = BENCH.format(
        instances="\n".join(f"  wire [15:0] code{n}; copy{n} c{n}(clock, x, y, code{n});" for n in copies),
        formats=" ".join(["%0d"] * len(faults)),
        codes=", ".join(f"code{n}" for n in copies),
        x_start=board.counters.x_start,
        y_start=board.counters.y_start,
        x_total=board.raster.x.total,
        y_total=board.raster.y.total,
        x_visible=board.raster.x.visible,
        y_visible=board.raster.y.visible,
    )
    (folder / "bench.v").write_text("\n".join([*modules, bench]))
    compiler, runner = program("iverilog"), program("vvp")
    subprocess.run([compiler, "-g2005", "-o", "bench", "bench.v"], check=True, cwd=folder, capture_output=True)
    run = subprocess.run([runner, "-n", "bench"], check=True, cwd=folder, capture_output=True, text=True)
    assert "WARNING" not in run.stdout, run.stdout[:500]
    codes = np.array([line.split() for line in run.stdout.splitlines() if line[:1].isdigit()], dtype=np.int64)
    return codes.reshape(board.raster.y.visible, board.raster.x.visible, len(faults))


def chosen(circuit: Circuit, seed: int) -> list[WiringFault]:
    """Seeded faults, some of each group; those of resistors change no code, and outputs that float have none."""
    random = np.random.default_rng(seed)
    driving = {memory.name for memory in circuit.board.driving_memories}
    groups: dict[str, list[WiringFault]] = {}
    for fault in faults_of(circuit.board):
        floats = fault.group == "outputs" and {pin.chip for pin in fault.chips} & driving
        if fault.group != "resistors" and not floats:
            groups.setdefault(f"{fault.group} {fault.text.split(' ')[-1]}", []).append(fault)
    found = [members[int(random.integers(len(members)))] for members in groups.values()]
    rest = [fault for members in groups.values() for fault in members if fault not in found]
    more = random.permutation(len(rest))[: max(0, FAULTS_EACH - len(found))]
    return [*found, *(rest[at] for at in more)]


@pytest.mark.parametrize("name", ["plain", "odd_order", "side_by_side", "packed", "tile_map"])
def test_a_faulty_board_shows_what_the_faulty_hardware_does(circuits, name, tmp_path, program) -> None:
    circuit = circuits[name]()
    random = np.random.default_rng(7)
    words = {
        memory.name: random.integers(0, 1 << memory.part.width, memory.words).astype(np.uint32)
        for memory in circuit.board.memories
    }
    faults = chosen(circuit, seed=len(name))
    assert len(faults) >= 12  # at least 60 on five boards
    simulated = simulate(circuit, words, faults, tmp_path, program)
    sound = screen_codes(circuit.board, words, 0)
    differing = 0
    for number, fault in enumerate(faults):
        shown = screen_codes(*fault.change(circuit.board, words), 0)
        assert np.array_equal(shown, simulated[:, :, number]), fault.text
        differing += not np.array_equal(shown, sound)
    assert differing >= len(faults) / 2  # the faults are to be seen, so that the check can fail
