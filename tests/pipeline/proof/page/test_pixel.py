"""The pixel under the pointer: every figure that the page shows in Chromium, against the board's model in Python."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PIL import Image
from skimage.color import deltaE_ciede2000, rgb2lab

from ladderlight import TileSet
from ladderlight.bench.pins import data_line
from ladderlight.board import Board, Counters, Memory
from ladderlight.board.ladders.tolerance import gun_limits
from ladderlight.board.scanning.playback import count_codes
from ladderlight.board.scanning.scan import scan
from ladderlight.board.scanning.timing import picture_delay
from ladderlight.devices.files import span_places
from ladderlight.flow.pictures import DeviceFile, SourceView
from ladderlight.proof.files import proof_files
from ladderlight.proof.scanout import Scanned, memories_of
from ladderlight.proof.tilesheet import tiles_shown
from ladderlight.workspace.description import describe
from ladderlight_stages.emissions.binary import binary
from ladderlight_stages.emissions.intel_hex import intel_hex
from ladderlight_stages.emissions.verilog_mem import verilog_mem

from ....moments import undefined_times

if TYPE_CHECKING:
    from playwright.sync_api import Browser

DATA = ["b0-b1", "g0-g1", "r0-r1"]
PLACES = 40
BANKS = (0, 1)

POINT = """async ([places, width, height]) => {
    const screen = document.getElementById("screen");
    const path = document.getElementById("pixel-path");
    const texts = (cells) => [...cells].map((cell) => cell.textContent);
    const read = (each) => {
        if (each.querySelector("tr")) return [...each.querySelectorAll("tr")].map((row) => texts(row.cells));
        return each.querySelector("div") ? texts(each.children) : each.textContent.trim();
    };
    const found = [];
    for (const [x, y] of places) {
        const box = screen.getBoundingClientRect();
        const clientX = box.left + (x + 0.5) / width * box.width;
        const clientY = box.top + (y + 0.5) / height * box.height;
        screen.dispatchEvent(new PointerEvent("pointermove", { clientX, clientY, pointerType: "mouse" }));
        for (let round = 0; !path.dataset.at?.endsWith(` ${x} ${y}`); round += 1) {
            if (round > 2000) throw new Error(`nothing is shown for ${x}, ${y}: ${path.dataset.at}`);
            await new Promise((resume) => setTimeout(resume));
        }
        const figures = [...path.querySelectorAll("[data-figure]")];
        found.push(Object.fromEntries(figures.map((each) => [each.dataset.figure, read(each)])));
    }
    return found;
}"""
"""Point at each of some places, and read the figures by their names: texts, lines of texts, or rows of cells."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """A board, how its files are cut, and its tile sets."""

    name: str
    board: Board
    tile_sets: tuple[TileSet, ...] = ()
    files: dict[str, Any]


@pytest.fixture
def cases(make_board, memory, ladder, packing) -> dict[str, Case]:
    """Five boards: plain, with two memories, packed, with a map of tiles, and with colour look-up behind registers."""
    plain = make_board(
        memory(address=["x2-x9", "y2-y8", "bank0-bank1"], data=DATA, access=120e-9),
        counters=Counters(x_start=16, y_start=9, delay=22e-9),
    )
    two = make_board(
        memory("warm", address=["x2-x9", "y2-y8", "bank0"], data=["r0-r1", "g0-g1"], part="27C1024", access=100e-9),
        memory("cold", address=["!y2", "x2-x9", "y3-y8", "bank0"], data=["-", "b0-b1"], part="27C512", access=70e-9),
    )
    packed = make_board(
        memory(
            "sign",
            address=["x5-x9", "y2-y8", "low", "low", "low", "bank0"],
            data=["k"],
            part="27C256",
            access=150e-9,
            output="register",
            packing=packing(pixels=8, order="msb_first"),
            chips=2,
        ),
        ladder=ladder(grey={"k": 470.0}),
        check=False,
    )
    tiled = make_board(
        memory("map", address=["x5-x9", "y5-y8", "bank0"], data=["-", "t0-t4"], access=70e-9, part="28C64"),
        memory("tiles", address=["x2-x4", "y2-y4", "t0-t4", "map.d6"], data=DATA, access=55e-9, part="39SF010A"),
    )
    looked_up = make_board(
        memory("picture", address=["x2-x9", "y2-y8", "bank0", "low"], data=["p0-p3"], access=90e-9, output="register"),
        memory("colours", address=["p0-p3", "bank0"], data=DATA, access=90e-9, part="2716", output="register"),
        counters=Counters(blanking_delay=8),
    )
    looked_up = replace(looked_up, ladder=replace(looked_up.ladder, tolerance=0.05))
    each = np.arange(64)[:, None] * 64 + np.arange(64)
    tiles = TileSet(memory="tiles", codes=np.zeros((64, 8, 8), np.uint16), numbers=np.arange(64), addresses=each)
    found = [
        Case(name="plain", board=plain, files={}),
        Case(name="two", board=two, files={"order": "big", "split": "even_odd"}),
        Case(name="packed", board=packed, files={"size": 4096}),
        Case(name="tiled", board=tiled, tile_sets=(tiles,), files={}),
        Case(name="looked_up", board=looked_up, files={}),
    ]
    return {case.name: case for case in found}


@pytest.mark.parametrize("name", ["plain", "two", "packed", "tiled", "looked_up"])
def test_figures_are_those_of_the_model(
    name: str, cases: dict[str, Case], random_contents: Callable[..., Any], browser: Browser, tmp_path: Path
) -> None:
    case = cases[name]
    board = case.board
    contents = replace(random_contents(board), tile_sets=case.tile_sets)
    files = binary(contents, board, **case.files)
    if name == "two":
        files += [*intel_hex(contents, board, offset=0x100), *verilog_mem(contents, board, offset=0x10)]
    scanned = Scanned(board=board, words=memories_of(board, files), banks=BANKS, tile_sets=case.tile_sets)
    document = describe(project="p", board=board, contents=contents, files=files, images=scanned.images, details=None)
    path = tmp_path / "index.html"
    path.write_bytes(dict(proof_files("p", scanned, document, []))["index.html"])
    rng = np.random.default_rng(11)
    width, height = board.geometry.width, board.geometry.height
    places = {(0, 0), (width - 1, height - 1)}
    while len(places) < PLACES:
        places.add((int(rng.integers(width)), int(rng.integers(height))))
    for bank in BANKS:
        page = browser.new_page()
        faults: list[str] = []
        page.on("pageerror", lambda error, faults=faults: faults.append(str(error)))
        page.goto(f"{path.as_uri()}#bank={bank}")
        model = Model(case, scanned, files, bank)
        pointed = sorted(places)[bank :: len(BANKS)]
        for (x, y), figures in zip(pointed, page.evaluate(POINT, [pointed, width, height]), strict=True):
            assert figures == model.figures(x, y), (bank, x, y)
        page.close()
        assert faults == []


def test_source_and_difference(board: Board, banked: Callable[..., Any], browser: Browser, tmp_path: Path) -> None:
    """Decoders of JPEG may differ a little; the difference is that of the two colours that are shown."""
    contents = banked(board, (0,))
    files = binary(contents, board)
    scanned = Scanned(board=board, words=memories_of(board, files), banks=[0])
    document = describe(project="p", board=board, contents=contents, files=files, images=scanned.images, details=None)
    rows, columns = np.indices((120, 160))
    pixels = np.stack([columns * 255 // 159, rows * 255 // 119, 255 - columns * 255 // 159], axis=2).astype(np.uint8)
    jpeg = io.BytesIO()
    Image.fromarray(pixels).save(jpeg, format="JPEG", quality=90)
    views = {"picture-0": SourceView(data=jpeg.getvalue())}
    path = tmp_path / "index.html"
    path.write_bytes(dict(proof_files("p", scanned, document, [], views=views))["index.html"])
    page = browser.new_page()
    page.goto(path.as_uri())
    decoded = np.asarray(Image.open(jpeg).convert("RGB")).astype(int)
    places = [(0, 0), (17, 90), (80, 60), (159, 119), (140, 3)]
    for (x, y), figures in zip(places, page.evaluate(POINT, [places, 160, 120]), strict=True):
        source = figures["source"].removeprefix("about ")
        rgb = [int(source[at : at + 2], 16) for at in (1, 3, 5)]
        assert np.abs(np.array(rgb) - decoded[y, x]).max() <= 3
        shown = board.palette.srgb8[scanned.codes[0][y, x]]
        difference = deltaE_ciede2000(rgb2lab(np.array(rgb) / 255), rgb2lab(shown / 255))
        words = figures["difference"]
        assert words.startswith("about ")
        assert words.endswith(" (CIEDE2000)")
        assert float(words.split()[1]) == pytest.approx(difference, abs=0.06)
    page.close()


class Model:
    """What the board's arithmetic gives for the pixels of one bank, written as the page writes it."""

    def __init__(self, case: Case, scanned: Scanned, files: list[DeviceFile], bank: int) -> None:
        self.case, self.board, self.bank, self.files, self.words = case, case.board, bank, files, scanned.words
        self.limits = gun_limits(self.board.ladder, self.board.code_lines)
        self.shown = count_codes(self.board, self.words, bank)
        board = self.board
        whole = scan(board, self.words, board.x_grid.samples[None, :], board.y_grid.samples[:, None], bank)
        self.tiles = [tiles_shown(board, whole, tiles) for tiles in case.tile_sets]

    def figures(self, x: int, y: int) -> dict[str, Any]:
        board = self.board
        counts = np.flatnonzero(board.x_grid.cells == x)
        lines = np.flatnonzero(board.y_grid.cells == y)
        period, ratio = float(1 / board.raster.clock), float(board.raster.ratio)
        late, blanking = picture_delay(board), board.counters.blanking_delay
        dots = [dot for dot in range(board.raster.mode.horizontal.active) if int((dot + 0.5) * ratio) in counts]
        # What a registered board shows was addressed some counts before.
        across, down = board.readings(int(counts[0]) - late + blanking, int(lines[0]))
        self.read = scan(board, self.words, across, down, self.bank)
        code = int(self.read.codes)
        assert set(self.shown[lines[0], counts].tolist()) == {code}
        found = {
            "pixel": f"column {x}, line {y} of bank {self.bank}",
            "dots": ranged(dots),
            "lines": ranged(lines.tolist()),
            "x count": str(across),
            "y count": str(down),
        }
        if late:
            found["late"] = f"show it {late} counts later"
        if blanking:
            found["blanking"] = f"{blanking} counts late"
        for memory in board.order:
            found |= self._memory(memory)
        bits = len(board.code_lines)
        found["code"] = f"{code:0{ceil(bits / 4)}X}h {code:0{bits}b}"
        for gun, name in enumerate(("red", "green", "blue")):
            found[name] = f"{board.palette.volts[code, gun]:.3f} V"
            if self.limits:
                low, high = (end[code, gun] for end in self.limits)
                found[name] += f", {low:.3f} to {high:.3f}"
        found["colour"] = board.palette.hex_of(code)
        held = f"{len(counts) * period * 1e9:.1f} ns"
        found["held"] = held
        if any(memory.access is None for memory in board.picture_memories):
            found["undefined"] = "not known: no access time is given"
        else:
            times = undefined_times(board, self.words, self.bank, lines[:1])[0, counts]
            found["undefined"] = f"{times.sum() * 1e9:.1f} of {held}"
        return found | self._tile()

    def _memory(self, memory: Memory) -> dict[str, Any]:
        address, slot = int(self.read.addresses[memory.name]), int(self.read.slots[memory.name])
        word = int(self.words[memory.name][address])
        device = memory.devices[address // memory.part.words]
        within = address - device.first_word
        socket = f"U{self.board.devices.index(device) + 1}"
        data = word >> memory.shift_of(slot) & (1 << memory.pixel_width) - 1
        digits = ceil(memory.part.width / 4)
        found = {
            "pins": self._pins(memory, address),
            "address": f"{address:0{max(4, ceil((memory.words - 1).bit_length() / 4))}X}h",
            "chip": f"{socket}, {device.name}, at {within:0{max(4, ceil((memory.part.words - 1).bit_length() / 4))}X}h",
            "file": self._files(memory, device.name, within),
            "word": f"{word:0{digits}X}h {word:0{memory.part.width}b}",
            "data": " ".join(
                f"{line} {data >> pin & 1}"
                for pin in range(memory.pixel_width)
                if (line := data_line(self.board, memory, pin))
            ),
        }
        if memory.packing.pixels > 1:
            found["slot"] = f"{slot + 1} of {memory.packing.pixels}"
        return {f"{memory.name} {name}": value for name, value in found.items()}

    def _pins(self, memory: Memory, address: int) -> list[list[str]]:
        """Runs of pins, as they are written for each of the boards above; the highest pins first."""
        rows = PINS[self.case.name, memory.name]
        return [[pins, lines, format(address >> low & (1 << size) - 1, f"0{size}b")] for pins, lines, low, size in rows]

    def _files(self, memory: Memory, device: str, within: int) -> list[str]:
        found = []
        size = (memory.part.width + 7) // 8
        for file in self.files:
            if file.device != device or file.span is None:
                continue
            places = span_places(file.span, next(each for each in memory.devices if each.name == device))
            at = np.flatnonzero(places // size == within)
            if len(at):
                byte = int(at.min())
                more = f" and {len(at) - 1} more" if len(at) > 1 else ""
                address = byte + file.span.offset
                words = {
                    ".bin": f"byte {byte:,}{more}",
                    ".hex": f"address {address:04X}h{more}",
                    ".mem": f"element {address // size:04X}h",
                }
                found.append(f"{file.name} {words[file.name[-4:]]}")
        return found

    def _tile(self) -> dict[str, str]:
        for tiles, shown in zip(self.case.tile_sets, self.tiles, strict=True):
            here = int(self.read.addresses[tiles.memory]) // tiles.addresses.shape[1]
            others = int((shown[0] == here).sum()) - 1
            words = f"{others} on this screen, marked" if others else "none on this screen"
            return {"tile": f"{here} of {tiles.memory}", "places": words}
        return {}


def ranged(numbers: list[int]) -> str:
    return f"{numbers[0]}" if len(numbers) == 1 else f"{numbers[0]} to {numbers[-1]}"


COMMON = [("A14 to A8", "y8 to y2", 8, 7), ("A7 to A0", "x9 to x2", 0, 8)]
PINS = {
    ("plain", "picture"): [("A16 to A15", "bank1 to bank0", 15, 2), *COMMON],
    ("two", "warm"): [("A15", "bank0", 15, 1), *COMMON],
    ("two", "cold"): [
        ("A15", "bank0", 15, 1),
        ("A14 to A9", "y8 to y3", 9, 6),
        ("A8 to A1", "x9 to x2", 1, 8),
        ("A0", "!y2", 0, 1),
    ],
    ("packed", "sign"): [
        ("A15", "bank0", 15, 1),
        ("A14", "low", 14, 1),
        ("A13", "low", 13, 1),
        ("A12", "low", 12, 1),
        ("A11 to A5", "y8 to y2", 5, 7),
        ("A4 to A0", "x9 to x5", 0, 5),
    ],
    ("tiled", "map"): [("A9", "bank0", 9, 1), ("A8 to A5", "y8 to y5", 5, 4), ("A4 to A0", "x9 to x5", 0, 5)],
    ("tiled", "tiles"): [
        ("A11", "map.d6", 11, 1),
        ("A10 to A6", "t4 to t0", 6, 5),
        ("A5 to A3", "y4 to y2", 3, 3),
        ("A2 to A0", "x4 to x2", 0, 3),
    ],
    ("looked_up", "picture"): [("A16", "low", 16, 1), ("A15", "bank0", 15, 1), *COMMON],
    ("looked_up", "colours"): [("A4", "bank0", 4, 1), ("A3 to A0", "p3 to p0", 0, 4)],
}
"""By board and memory: pins, what drives them, the lowest pin, and how many."""
