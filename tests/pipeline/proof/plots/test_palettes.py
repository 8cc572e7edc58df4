"""Swatches by code."""

from __future__ import annotations

import pytest

from ladderlight.board.model.palette import palette_of
from ladderlight.proof.plots import palette_plot
from ladderlight.proof.plots.palettes import MOST_SWATCHES


def test_every_code_has_its_swatch_in_order(board, read, every, words) -> None:
    root = read(palette_plot(board.palette))
    swatches = every(root, "rect")
    assert [swatch.get("fill") for swatch in swatches] == [board.palette.hex_of(code) for code in range(64)]
    assert (swatches[9].get("x"), swatches[9].get("y")) == ("90", "46")
    assert words(root)[:3] == ["00", "#000000", "0 0 0"]
    assert words(root)[-3:] == ["3F", "#fdfdfd", "694 694 694"]


def test_swatches_say_code_bits_and_volts(board) -> None:
    assert "<title>code 1B (011011): #58a5fd, 0.243, 0.452, 0.694 V</title>" in palette_plot(board.palette)


def test_light_swatches_have_dark_words(board, read, every) -> None:
    texts = every(read(palette_plot(board.palette)), "text")
    assert "fill:#fff" in texts[0].get("style")
    assert "fill:#000" in texts[-1].get("style")


@pytest.mark.parametrize(("bits", "columns"), [(1, 2), (8, 16), (10, 64)])
def test_rows(ladder, read, every, bits: int, columns: int) -> None:
    lines = tuple(f"r{bit}" for bit in range(bits))
    palette = palette_of(ladder(red={line: 1000.0 * 2**bit for bit, line in enumerate(lines)}), lines)
    swatches = every(read(palette_plot(palette)), "rect")
    assert len(swatches) == 1 << bits
    assert len({swatch.get("x") for swatch in swatches}) == columns


def test_very_many_codes_are_shown_by_gun(ladder, read, every, words) -> None:
    tables = {name: {f"{name[0]}{bit}": 1000.0 * 2**bit for bit in range(5)} for name in ("red", "green", "blue")}
    lines = tuple(line for table in tables.values() for line in table)
    palette = palette_of(ladder(**tables), lines)
    assert len(palette) > MOST_SWATCHES
    root = read(palette_plot(palette))
    assert words(root) == ["red", "green", "blue"]
    assert len(every(root, "rect")) == 3 * 32
