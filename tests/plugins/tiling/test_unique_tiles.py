"""Equal tiles in all orientations, against a slow search of its own."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from ladderlight_stages.tiling import unique_tiles as module
from ladderlight_stages.tiling.unique_tiles import unique_tiles

TURNS = {"none": [0], "one": [0, 3], "both": [0, 3, 12, 15], "not at an edge": [0, 5]}
POSITIONS = np.arange(16)


def classes(cells, turns):
    """How many cells differ in every orientation."""
    return len({min(tuple(cell[POSITIONS ^ turn]) for turn in turns) for cell in cells})


@given(
    st.sampled_from(sorted(TURNS)), st.integers(1, 60), st.integers(1, 6), st.integers(0, 10**6), st.sampled_from("BHI")
)
def test_every_cell_is_shown_by_its_tile(name, number, stock, seed, dtype):
    turns = np.array(TURNS[name])
    random = np.random.default_rng(seed)
    cells = random.integers(0, 2, (stock, 16)).astype(dtype)[random.integers(0, stock, number)]
    cells = cells[np.arange(number)[:, None], POSITIONS ^ turns[random.integers(0, len(turns), number)][:, None]]
    found = unique_tiles(cells, turns)
    assert np.array_equal(found.tiles[found.index[:, None], POSITIONS ^ turns[found.turn][:, None]], cells)
    assert len(found.tiles) == classes(cells, turns)
    assert found.uses.sum() == number
    assert len(set(found.hashes.tolist())) == len(found.tiles)


def test_a_tile_is_kept_in_the_same_form_whichever_orientation_comes_first():
    turns = np.array([0, 3, 12, 15])
    cell = np.random.default_rng(0).integers(0, 99, 16).astype(np.uint16)
    forms = [unique_tiles(cell[POSITIONS ^ turn][None], turns) for turn in turns]
    assert all(np.array_equal(form.tiles, forms[0].tiles) for form in forms)
    assert {int(form.hashes[0]) for form in forms} == {int(forms[0].hashes[0])}


def test_a_tile_that_looks_the_same_turned_is_one():
    turns = np.array([0, 3, 12, 15])
    plain = np.full((4, 16), 7, dtype=np.uint16)
    found = unique_tiles(plain, turns)
    assert len(found.tiles) == 1
    assert not found.turn.any()


@given(st.integers(0, 10**6), st.sampled_from(sorted(TURNS)))
def test_cells_that_are_partly_off_the_screen(seed, name):
    turns = np.array(TURNS[name])
    random = np.random.default_rng(seed)
    cells = random.integers(0, 2, (5, 16)).astype(np.uint16)[random.integers(0, 5, 40)]
    masks = np.array([POSITIONS >= 0, POSITIONS < 8, POSITIONS % 4 < 2, (POSITIONS < 8) & (POSITIONS % 4 < 2)])
    shown = masks[random.integers(0, 4, 40)]
    found = unique_tiles(cells, turns, shown=shown)
    at = POSITIONS ^ turns[found.turn][:, None]
    assert np.array_equal(np.where(shown, found.tiles[found.index[:, None], at], 0), np.where(shown, cells, 0))
    assert np.all(found.read[found.index[:, None], at][shown])
    whole = shown.all(axis=1)
    assert len(found.tiles) <= classes(np.where(shown, cells, 9), turns)
    if whole.any():
        assert len(found.tiles) >= classes(cells[whole], turns)


def test_a_part_takes_a_whole_tile_that_agrees():
    whole = np.arange(16, dtype=np.uint16)
    part = np.where(POSITIONS < 8, whole, 0)
    shown = np.array([POSITIONS < 8, POSITIONS >= 0])
    found = unique_tiles(np.array([part, whole]), np.array([0]), shown=shown)
    assert len(found.tiles) == 1
    assert list(found.index) == [0, 0]


def test_tiles_of_equal_hash_are_compared(monkeypatch):
    """With weights of 0 all tiles have one hash: they must still be told apart."""
    monkeypatch.setattr(module, "_weights", lambda count: np.zeros(count, dtype=np.uint64))
    cells = np.random.default_rng(0).integers(0, 2, (300, 16)).astype(np.uint8)
    found = unique_tiles(cells, np.array([0, 3]))
    assert len(found.tiles) == len(np.unique(cells, axis=0))
    assert np.array_equal(found.tiles[found.index], cells)
