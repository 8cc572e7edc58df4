"""Tables of a palette serve every equal palette, also one that has come from another process."""

from __future__ import annotations

import importlib
import inspect
import pickle
import pkgutil
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest

import ladderlight_stages
from ladderlight import Board, Origin, Palette, Picture
from ladderlight.stages.kinds import Kind
from ladderlight.stages.registry import installed_stages

REDUCTIONS = [
    summary.name
    for summary in installed_stages().summaries()
    if summary.kind is Kind.REDUCTION and summary.plugin == "builtin"
]


def cached() -> Iterator[Callable[..., Any]]:
    """Yield the functions that keep what they made of a palette."""
    for found in pkgutil.walk_packages(ladderlight_stages.__path__, "ladderlight_stages."):
        for function in vars(importlib.import_module(found.name)).values():
            if hasattr(function, "cache_info") and "palette" in inspect.signature(function).parameters:
                yield function


def misses() -> int:
    return sum(function.cache_info().misses for function in set(cached()))


@pytest.mark.parametrize("name", REDUCTIONS)
def test_an_unpickled_palette_costs_no_tables(name: str, board: Board) -> None:
    declaration = installed_stages().get(name)
    options = declaration.complete(declaration.check(declaration.example.options)[0])
    pixels = np.random.default_rng(5).random((6, 8, 3)).astype(np.float32)
    picture = Picture(origin=Origin(name="p", source="p.png"), pixels=pixels)
    first = declaration.run(picture, board, options)
    made = misses()
    again = declaration.run(picture, pickle.loads(pickle.dumps(board)), options)
    assert misses() == made
    assert (again.codes == first.codes).all()


def test_the_caches_are_found(board: Board) -> None:
    names = {function.__name__ for function in cached()}
    assert {"palette_tables", "lattice_tables", "reach_of", "reach_cells"} <= names
    palette: Palette = pickle.loads(pickle.dumps(board.palette))
    assert palette is not board.palette
    assert palette == board.palette
    assert palette.digest == board.palette.digest
