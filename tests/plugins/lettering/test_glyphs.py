"""The characters drawn for this project."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from ladderlight_stages.lettering import CELL, glyphs

PRINTABLE = [chr(code) for code in range(0x20, 0x7F)]  # ASCII (ISO/IEC 646): space to tilde


def drawn(character: str) -> list[str]:
    return ["".join(".#"[dot] for dot in row) for row in glyphs()[character].astype(int)]


def test_every_printable_character_is_drawn_in_its_cell() -> None:
    assert list(glyphs()) == PRINTABLE
    assert len(PRINTABLE) == 95
    assert {dots.shape for dots in glyphs().values()} == {(CELL, CELL)} == {(8, 8)}


def test_all_characters_differ_by_more_than_one_dot() -> None:
    for (one, first), (other, second) in itertools.combinations(glyphs().items(), 2):
        assert (first ^ second).sum() >= 2, f"{one} and {other}"


def test_space_is_empty_and_nothing_else_is() -> None:
    assert [character for character, dots in glyphs().items() if not dots.any()] == [" "]


def test_neighbours_do_not_touch() -> None:
    """The rightmost column stays empty; in the lowest row stand tails alone, so capitals of two lines keep apart."""
    assert not any(dots[:, CELL - 1].any() for dots in glyphs().values())
    assert "".join(character for character, dots in glyphs().items() if dots[CELL - 1].any()) == ",;_gjpqy"


@pytest.mark.parametrize(
    ("character", "rows"),
    [
        ("A", ["..##....", ".#..#...", "#....#..", "#....#..", "######..", "#....#..", "#....#..", "........"]),
        ("1", ["...#....", "..##....", ".#.#....", "...#....", "...#....", "...#....", ".#####..", "........"]),
        ("y", ["........", "........", "#....#..", "#....#..", "#....#..", ".#####..", ".....#..", ".####..."]),
        ("~", ["........"] * 3 + [".##...#.", "#...##.."] + ["........"] * 3),
    ],
)
def test_characters_have_the_shapes_of_the_drawing(character: str, rows: list[str]) -> None:
    assert drawn(character) == rows


def test_the_drawn_characters_cannot_be_changed_by_those_who_use_them() -> None:
    with pytest.raises(ValueError, match="read-only"):
        glyphs()["A"][0, 0] = True
    assert np.array_equal(glyphs()["A"][0], [c == "#" for c in "..##...."])
