"""The card that tells address lines apart."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from ladderlight import Board, Origin
from ladderlight.testing import run_stage, small_board
from ladderlight_stages.arrangements.tiles import tiles
from ladderlight_stages.cards.addresses import addresses

Ints = NDArray[np.int64]
BoardMaker = Callable[..., Board]


def wrong_addresses(count: int) -> Iterator[tuple[str, Callable[[Ints], Ints]]]:
    """Every single fault of so many address bits, written with bits alone."""
    for bit in range(count):
        yield f"{bit} low", lambda at, bit=bit: at & ~(1 << bit)
        yield f"{bit} high", lambda at, bit=bit: at | 1 << bit
        yield f"{bit} inverted", lambda at, bit=bit: at ^ 1 << bit
    for first, second in combinations(range(count), 2):

        def both(at: Ints, to_first: Ints, to_second: Ints, first: int = first, second: int = second) -> Ints:
            return at & ~(1 << first | 1 << second) | to_first << first | to_second << second

        def levels(at: Ints, first: int = first, second: int = second) -> tuple[Ints, Ints]:
            return at >> first & 1, at >> second & 1

        yield f"{first} and {second} exchanged", lambda at, b=both, f=levels: b(at, f(at)[1], f(at)[0])
        yield f"{first} and {second} wired-AND", lambda at, b=both, f=levels: b(at, *[f(at)[0] & f(at)[1]] * 2)
        yield f"{first} and {second} wired-OR", lambda at, b=both, f=levels: b(at, *[f(at)[0] | f(at)[1]] * 2)


def shown_with_faults(board: Board, blur: float) -> dict[str, NDArray[np.float64]]:
    """The card's light at the guns under each fault of an x or y bit, after a blur of so many pixels."""
    codes = run_stage(addresses, None, board).codes
    height, width = codes.shape
    across = (width - 1).bit_length()
    bits = across + (height - 1).bit_length()
    y, x = np.indices(codes.shape)
    at = (x | y << across).astype(np.int64)
    memory = np.full(1 << bits, len(board.palette) - 1, dtype=np.uint16)  # what nothing reads is erased: all ones
    memory[at] = codes
    faults = [("none", lambda at: at), *wrong_addresses(bits)]
    drive = {name: board.palette.drive[memory[wrong(at)]] for name, wrong in faults}
    return {name: ndimage.gaussian_filter(seen, (blur, blur, 0)) for name, seen in drive.items()}


@pytest.mark.parametrize(("blur", "least"), [(0.0, 0.1), (1.0, 0.035), (2.0, 0.01)])
def test_every_single_fault_of_an_address_bit_looks_different_sharp_and_blurred(
    blur: float, least: float, make_board: BoardMaker
) -> None:
    """Root mean square of the difference in drive between any two; a photograph's noise of 4 % averages out."""
    seen = shown_with_faults(make_board(), blur)
    assert len(seen) == 1 + 3 * 15 + 3 * 15 * 14 // 2
    flat = np.array([picture.ravel() for picture in seen.values()])
    squares = np.sum(flat**2, axis=1)
    apart = np.sqrt(np.maximum(squares[:, None] + squares - 2 * flat @ flat.T, 0) / flat.shape[1])
    np.fill_diagonal(apart, np.inf)
    assert apart.min() > least


def test_all_colours_are_about_as_frequent(make_board: BoardMaker) -> None:
    board = make_board()
    codes = run_stage(addresses, None, board).codes
    counts = np.bincount(codes[4:-4, 4:-4].ravel(), minlength=64)
    assert counts.min() > 0.5 * counts.mean()
    levels = codes[..., None] >> np.arange(6) & 1
    assert np.abs(levels.mean(axis=(0, 1)) - 0.5).max() < 0.07


def test_no_mirrored_or_turned_form_looks_like_the_card(make_board: BoardMaker) -> None:
    board = make_board()
    seen = board.palette.drive[run_stage(addresses, None, board).codes][4:-4, 4:-4] - 0.5
    for turned in (seen[::-1], seen[:, ::-1], seen[::-1, ::-1]):
        assert abs(np.corrcoef(seen.ravel(), turned.ravel())[0, 1]) < 0.2


def test_the_frame_is_of_the_brighter_half(make_board: BoardMaker) -> None:
    board = make_board()
    seen = board.palette.drive[run_stage(addresses, None, board).codes].sum(axis=2)
    assert seen[:3].min() > 1.2
    assert seen[:, -3:].min() > 1.2
    assert np.median(seen[10:-10, 10:-10]) < 1.5


def test_the_card_is_the_same_every_time() -> None:
    codes = run_stage(addresses, None, small_board()).codes
    assert codes.dtype == np.uint16
    assert codes[0, :8].tolist() == run_stage(addresses, None, small_board()).codes[0, :8].tolist()


@pytest.mark.parametrize("name", ["black and white", "grey 4", "16-bit codes", "shared intensity"])
def test_any_palette_is_used_whole(name: str, boards: dict[str, Board]) -> None:
    board = boards[name]
    codes = run_stage(addresses, None, board).codes
    colours = {tuple(drive) for drive in board.palette.drive[codes].reshape(-1, 3).tolist()}
    every = {tuple(drive) for drive in board.palette.drive.tolist()}
    assert len(colours) > 0.9 * min(len(every), codes.size // 4)


@pytest.mark.parametrize("gates", [True, False])
def test_on_a_tile_board_every_single_fault_looks_different(gates: bool, make_board: BoardMaker, memory) -> None:
    """A scan of the tile board written with bits alone: 20x15 cells of 8x8 pixels, 64 tiles, mirrored by two gates."""
    mirrored = ["x2-x4^map.d6", "y2-y4^map.d7"] if gates else ["x2-x4", "y2-y4"]
    board = make_board(
        memory("map", address=["x5-x9", "y5-y8"], data=["-"], part="27C256"),
        memory("tiles", address=[*mirrored, "map.d0-map.d5"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C256"),
    )
    card = replace(run_stage(addresses, None, board), origin=Origin(name="card", source="card"))
    contents = run_stage(tiles, [card], board, merge=False)
    map_words, tile_words = (contents.memories[name].words.astype(np.int64) for name in ("map", "tiles"))
    y, x = np.indices(card.codes.shape)

    def scanned(where: str, wrong: Callable[[Ints], Ints]) -> bytes:
        def at(name: str, address: Ints) -> Ints:
            return wrong(address) if name == where else address

        data = at("data", map_words[at("map", x >> 3 | y >> 3 << 5)] & 255)
        left, up = (data >> 6 & 1) * 7 * gates, (data >> 7 & 1) * 7 * gates
        codes = tile_words[at("tiles", (x & 7 ^ left) | (y & 7 ^ up) << 3 | (data & 63) << 6)] & 63
        return codes.astype(np.uint16).tobytes()

    assert scanned("nowhere", lambda at: at) == card.codes.tobytes()
    numbers = map_words[np.unique(x >> 3 | y >> 3 << 5)] & 63
    assert len(np.unique(numbers)) == 32
    assert (np.bitwise_or.reduce(numbers), np.bitwise_and.reduce(numbers)) == (63, 0)
    seen = {card.codes.tobytes(): "none"}
    for where, pins in (("map", 9), ("tiles", 12), ("data", 8 if gates else 6)):
        for fault, wrong in wrong_addresses(pins):
            name = same_wire(f"{where} {fault}")
            assert seen.setdefault(scanned(where, wrong), name) == name


def same_wire(fault: str) -> str:
    """Name a fault of the map's data pins 0 to 5 by the tile memory's address pins that they drive, 6 to 11."""
    pins = [int(pin) for pin in re.findall(r"\d+", fault)]
    if not fault.startswith("data") or max(pins) > 5:
        return fault
    return re.sub(r"\d+", lambda pin: str(int(pin[0]) + 6), fault.replace("data", "tiles"))
