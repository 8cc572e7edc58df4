"""The list of single faults, and what each makes of board and words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ladderlight.bench.faults.listing import faults_of
from ladderlight.bench.faults.screens import looks_of, shown_cells, shown_codes
from ladderlight.bench.wiring import Wiring
from ladderlight.board import Board, Counters
from ladderlight.board.model.ladder import Assembly
from ladderlight.proof.scanout import picture_codes, screen_codes


def by_text(board: Board) -> dict:
    return {fault.text: fault for fault in faults_of(board)}


def noise(board: Board, seed: int = 3) -> dict[str, np.ndarray]:
    random = np.random.default_rng(seed)
    return {m.name: random.integers(0, 1 << m.part.width, m.words).astype(np.uint32) for m in board.memories}


def test_every_fault_of_a_board_is_listed_once(board) -> None:
    """17 address pins, 8 data pins of which 6 are wired, 15 counter bits, 2 bank lines, 6 resistors of 2 values."""
    faults = faults_of(board)
    counts = {group: sum(fault.group == group for fault in faults) for group in {fault.group for fault in faults}}
    pairs, neighbours = 17 * 16 // 2, 20  # neighbours: 16 by number, and A7-A12, A8-A13, A9-A11, A12-A15 in the package
    assert counts == {
        "address lines": 17 * 3 + pairs + 2 * neighbours,
        "data lines": 6 * 3
        + (8 * 7 // 2 - 1)
        + 2 * 6,  # exchanges of the two open pins, and their bridge, are no fault
        "counters and switches": 2 * (8 + 7 + 2),
        "outputs": 1,
        "resistors": 6 * 2 + 3 * 3,  # one of 1330 ohm with one of 715
    }
    assert len({fault.text for fault in faults}) == len(faults)


def test_faults_are_named_with_pins_as_the_package_has_them(board) -> None:
    """Pins of the 27C010 as in Debian's kicad-symbols (Memory_EPROM)."""
    faults = by_text(board)
    assert [str(pin) for pin in faults["address line A3 (x5) stuck low"].chips] == ["picture pin 9, A3 (x5)"]
    pair = faults["address lines A3 (x5) and A8 (y2) exchanged"].chips
    assert [(pin.chip, pin.pin, pin.name, pin.line) for pin in pair] == [
        ("picture", 9, "A3", "x5"),
        ("picture", 27, "A8", "y2"),
    ]
    assert [pin.pin for pin in faults["data line D2 (g0) stuck high"].chips] == [15]
    assert [pin.pin for pin in faults["output enable of picture inverted"].chips] == [24]
    exchanged = faults["resistors r0 (red, 1k33) and g1 (green, 715) exchanged"].chips
    assert list(map(str, exchanged)) == [
        "R1 1k33 (r0)",
        "picture pin 18, D4 (r0)",
        "R4 715 (g1)",
        "picture pin 17, D3 (g1)",
    ]
    assert [(one.label, one.value, one.line) for one in Wiring(board).resistors][:4:3] == [
        ("R1", "1k33", "r0"),
        ("R4", "715", "g1"),
    ]
    assert "address lines A7 (x9) and A12 (y6) bridged, and low wins" in faults
    assert "address lines A7 (x9) and A13 (y7) bridged, and low wins" not in faults


def test_a_counter_bit_fails_at_all_memories_and_a_pin_at_one(make_board, memory, ladder) -> None:
    board = make_board(
        memory("left", address=["x2-x9", "y2-y8"], data=["v0"], part="27C256"),
        memory("right", address=["x2-x9", "y2-y8"], data=["v1"], part="27C256"),
        ladder=ladder(grey={"v0": 400.0, "v1": 200.0}),
    )
    words = noise(board)
    picture = picture_codes(board, words)
    broken = next(f for f in faults_of(board) if f.text == "counter bit x5 missing, and read as low")
    assert {pin.chip for pin in broken.chips} == {"left", "right"}
    columns = np.arange(160) & ~8  # x5 is the fourth bit of a column
    assert np.array_equal(picture_codes(*broken.change(board, words)), picture[:, columns])
    stuck = next(f for f in faults_of(board) if f.text == "address line A3 (x5) stuck low")
    assert {pin.chip for pin in stuck.chips} == {"left"}
    assert np.array_equal(picture_codes(*stuck.change(board, words)), picture & 2 | picture[:, columns] & 1)
    bridged = next(f for f in faults_of(board) if f.text == "address lines A3 (x5) and A4 (x6) bridged, and low wins")
    columns = np.where(np.arange(160) & 24 == 24, np.arange(160), np.arange(160) & ~24)
    assert np.array_equal(
        picture_codes(*bridged.change(board, words)), picture[:, columns]
    )  # both, as they share lines


@pytest.mark.parametrize(
    ("text", "red"),
    [
        ("resistor r0 (red, 1330) missing", [None, 715.0]),
        ("resistor r1 (red, 715) ten times too large", [1330.0, 7150.0]),
        ("resistors r0 (red, 1330) and g1 (green, 715) exchanged", [715.0, 715.0]),
    ],
)
def test_a_wrong_resistor_changes_the_colours_as_by_millman(board, text, red) -> None:
    """Millman's theorem, by hand: the sum of volts over ohms of all branches by the sum of one over ohms."""
    faults = {fault.text.replace("1k33", "1330"): fault for fault in faults_of(board)}
    faulty, _ = faults[text].change(board, {})
    for code in (0, 16, 32, 48):
        branches = [(5.0 * (code >> 4 + bit & 1), ohms) for bit, ohms in enumerate(red) if ohms] + [(0.0, 75.0)]
        volts = sum(v / r for v, r in branches) / sum(1 / r for _, r in branches)
        assert faulty.palette.volts[code, 0] == pytest.approx(volts, abs=1e-12)
    assert faulty.palette.volts[3, 2] == board.palette.volts[3, 2]  # blue stays


def test_outputs_that_are_disabled_leave_the_screen_dark(board) -> None:
    """Nothing drives the ladders then, so that the load pulls every gun to 0 V."""
    faulty, _ = by_text(board)["output enable of picture inverted"].change(board, noise(board))
    assert faulty.palette.volts.max() == 0


def test_faults_that_look_the_same_are_together_and_what_cannot_be_seen_is_first(board) -> None:
    words = noise(board)
    looks = looks_of(board, words, 0, faults_of(board))
    assert {"address line A15 (bank0) stuck low", "line bank1 missing, and read as low"} <= {
        fault.text for fault in looks[0].faults
    }
    place = {fault.text: number for number, look in enumerate(looks) for fault in look.faults}
    assert len(place) == len(faults_of(board))
    assert place["address line A3 (x5) stuck low"] == place["counter bit x5 missing, and read as low"] > 0
    assert place["data line D0 (b0) stuck low"] != place["resistor b0 (blue, 1k33) missing"]  # a low output still loads
    picture = board.palette.linear[picture_codes(board, words)]
    assert looks[0].light == pytest.approx(picture, abs=1e-6)
    stuck = looks[place["address line A3 (x5) stuck low"]]
    assert stuck.light == pytest.approx(picture[:, np.arange(160) & ~8], abs=1e-6)


def test_the_reduced_scan_is_that_of_the_whole_screen(make_board, memory) -> None:
    """With an output register, delayed blanking and a counter that does not start at 0."""
    board = make_board(
        memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C256", output="register"),
        counters=Counters(x_start=6, blanking_delay=5),
    )
    words = noise(board)
    for fault in faults_of(board)[::29]:
        whole = screen_codes(*fault.change(board, words), 0)
        last = np.flatnonzero(np.append(np.diff(board.y_grid.cells) > 0, True))
        assert np.array_equal(shown_codes(*fault.change(board, words), 0), whole[last]), fault.text
        cells = shown_cells(board)
        assert np.array_equal(whole[last], whole[last][:, cells].repeat(np.diff([*cells, 640]), axis=1)), fault.text


def test_a_pair_of_resistors_fails_one_by_one(make_board, memory, ladder) -> None:
    """A pair in series is open as a whole where either is missing; one in parallel keeps the other. By Millman."""
    pairs = {
        "r0": Assembly(parts=(33.0, 1300.0), joined="series"),
        "r1": Assembly(parts=(680.0, 11e3), joined="parallel"),
    }
    single = ladder(red={line: pair.ohms for line, pair in pairs.items()})
    board = make_board(
        memory(address=["x2-x9", "y2-y8"], data=["r0-r1"], part="27C256"),
        ladder=replace(single, channels=(replace(single.channels[0], pairs=pairs),)),
    )
    found = by_text(board)
    volts = {
        text: fault.change(board, {})[0].palette.volts[2, 0] for text, fault in found.items() if "resistor r1 " in text
    }
    first = 5 / 11e3 / (1 / 11e3 + 1 / 1333 + 1 / 75)
    second = 5 / 680 / (1 / 680 + 1 / 1333 + 1 / 75)
    assert volts["resistor r1 first (red, 680) missing"] == pytest.approx(first, abs=1e-12)
    assert volts["resistor r1 second (red, 11k) missing"] == pytest.approx(second, abs=1e-12)
    for which in ("first (red, 33)", "second (red, 1k3)"):
        faulty, _ = found[f"resistor r0 {which} missing"].change(board, {})
        assert faulty.palette.volts[1, 0] == 0
    assert not [text for text in found if "r0 first" in text and "r0 second" in text]
