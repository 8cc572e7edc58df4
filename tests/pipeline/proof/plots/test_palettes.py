"""Palettes as levels by gun, and what is used of them."""

from __future__ import annotations

import base64
import io
import re

import numpy as np
import pytest
from PIL import Image

from ladderlight.board.model.palette import palette_of
from ladderlight.proof.plots.palettes import MOST_CELLS, palette_fields, palette_plot


def cells_of(plot: str) -> list[np.ndarray]:
    """The middle pixel of each cell of each field, with opacity."""
    found = []
    for address in re.findall('href="data:image/png;base64,([^"]*)"', plot):
        pixels = np.asarray(Image.open(io.BytesIO(base64.b64decode(address))).convert("RGBA"))
        found.append(pixels[1::3, 1::3])
    return found


def test_levels_by_gun_where_guns_are_independent(board) -> None:
    """A field for each level of blue, green rising to the right and red downwards; codes are rrggbb."""
    fields = palette_fields(board.palette)
    assert [field.title for field in fields] == ["blue 0.000 V", "blue 0.243 V", "blue 0.452 V", "blue 0.694 V"]
    for blue, field in enumerate(fields):
        assert field.codes.tolist() == [[red << 4 | green << 2 | blue for green in range(4)] for red in range(4)]
    every = np.concatenate([field.codes.ravel() for field in fields])
    assert sorted(every.tolist()) == list(range(64))


def test_cells_show_their_colours(board, read, words) -> None:
    plot = palette_plot(board.palette)
    cells = cells_of(plot)
    for field, found in zip(palette_fields(board.palette), cells, strict=True):
        assert (found[..., :3] == board.palette.srgb8[field.codes]).all()
        assert (found[..., 3] == 255).all()
    assert words(read(plot))[-1] == "to the right: green up to 0.694 V; down: red up to 0.694 V"


def test_codes_that_nothing_shows_are_small(board, read) -> None:
    uses = {0: np.zeros(64, dtype=np.int64), 3: np.zeros(64, dtype=np.int64)}
    uses[0][5], uses[3][40] = 7, 1
    plot = palette_plot(board.palette, uses)
    assert read(plot).get("aria-label") == "Palette of 64 codes, 2 of them used"
    addresses = re.findall('href="data:image/png;base64,([^"]*)"', plot)
    whole = [
        int(code)
        for field, address in zip(palette_fields(board.palette), addresses, strict=True)
        for code, corner in zip(
            field.codes.ravel(),
            np.asarray(Image.open(io.BytesIO(base64.b64decode(address))).convert("RGBA"))[::3, ::3, 3].ravel(),
            strict=True,
        )
        if corner
    ]
    assert sorted(whole) == [5, 40]


def edges_of(path: str) -> set[tuple[str, int, int]]:
    """The sides of cells that a path goes along: direction, column, row."""
    found = set()
    for x, y, way, length in re.findall(r"M(\d+) (\d+)([hv])(\d+)", path):
        for step in range(int(length)):
            found.add((way, int(x) + step * (way == "h"), int(y) + step * (way == "v")))
    return found


def test_white_has_an_outline_where_it_is_used(ladder, read, every) -> None:
    lines = {f"k{bit}": 450.0 * 2**bit for bit in range(4)}
    palette = palette_of(ladder(grey=lines), tuple(reversed(lines)))
    uses = {0: np.zeros(16, dtype=np.int64)}
    uses[0][15] = 1
    (field,) = palette_fields(palette, uses)
    assert field.codes[1, 7] == 15
    faint, clear = (edges_of(path.get("d")) for path in every(read(palette_plot(palette, uses)), "path"))
    assert clear == {("h", 7, 1), ("h", 7, 2), ("v", 7, 1), ("v", 8, 1)}
    assert len(faint) == 3 * 8 + 2 * 9


def test_dependent_guns_are_sorted_by_lightness(ladder, read, words) -> None:
    """A grey ladder whose lines are wired backwards: code 4 is the weakest line."""
    palette = palette_of(ladder(grey={"k0": 910.0, "k1": 1800.0, "k2": 3600.0}), ("k0", "k1", "k2"))
    (field,) = palette_fields(palette)
    assert field.codes.ravel().tolist() == [0, 4, 2, 6, 1, 5, 3, 7]
    assert words(read(palette_plot(palette))) == ["by lightness, darkest first"]


def test_one_gun_alone_is_sorted_by_lightness(ladder) -> None:
    palette = palette_of(ladder(red={"r0": 1330.0, "r1": 715.0}), ("r0", "r1"))
    assert [field.codes.tolist() for field in palette_fields(palette)] == [[[0, 1, 2, 3]]]


@pytest.mark.parametrize("bits", [(3, 3, 2), (4, 4, 4), (1, 1, 1), (2, 0, 3), (5, 4, 3)])
def test_fields_stay_within_the_plot_and_apart(ladder, bits: tuple[int, int, int]) -> None:
    tables = {
        gun: {f"{gun[0]}{bit}": 1000.0 * 2**bit for bit in range(count)}
        for gun, count in zip(("red", "green", "blue"), bits, strict=True)
        if count
    }
    palette = palette_of(ladder(**tables), tuple(line for table in tables.values() for line in table))
    fields = palette_fields(palette)
    assert sorted(np.concatenate([field.codes.ravel() for field in fields]).tolist()) == list(range(len(palette)))
    boxes = [
        (field.x, field.y, field.x + field.codes.shape[1] * field.cell, field.y + field.codes.shape[0] * field.cell)
        for field in fields
    ]
    assert max(box[2] for box in boxes) <= 360.01
    assert max(box[3] for box in boxes) <= 450
    for at, one in enumerate(boxes):
        assert all(
            one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
            for other in boxes[at + 1 :]
        )


def test_of_very_many_codes_those_used_most_have_cells(ladder, read, every, words) -> None:
    tables = {name: {f"{name[0]}{bit}": 1000.0 * 2**bit for bit in range(5)} for name in ("red", "green", "blue")}
    lines = tuple(line for table in tables.values() for line in table)
    palette = palette_of(ladder(**tables), lines)
    assert len(palette) > MOST_CELLS
    root = read(palette_plot(palette))
    assert words(root) == ["red", "green", "blue"]
    assert len(every(root, "rect")) == 3 * 32
    uses = {0: np.zeros(len(palette), dtype=np.int64)}
    uses[0][[9, 30_000, 77]] = 4, 2, 1
    nine = {0: np.where(np.arange(len(palette)) < 9, 1, 0)}
    outlined = [edges_of(path.get("d")) for path in every(read(palette_plot(palette, nine)), "path")]
    assert [len(edges) for edges in outlined] == [8 + 8 + 1 + 9 + 2] * 2, "a row of eight, and one place of the next"
    (field,) = palette_fields(palette, uses)
    assert sorted(field.codes.ravel().tolist()) == [9, 77, 30_000]
    assert words(read(palette_plot(palette, uses)))[-1] == "the 3 codes used most, by lightness"
