"""Stages at work: each stage's example, run on one of our own boards."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw

from ladderlight.board import Board
from ladderlight.errors import PluginError, nearest_word
from ladderlight.plugins import StageRegistry
from ladderlight.recipe import load
from ladderlight.recipe.chain import DEFAULT
from ladderlight.stages import Kind, StageDeclaration
from ladderlight.starter.scenes import draw_scene

_SHAPE = (16, 9)
"""Proportions of the pictures: other than any monitor's, so that cropping shows."""


@dataclass(frozen=True, kw_only=True)
class Played:
    """An example that was run: what flowed into the stage, and what came out of it.

    ``before`` holds one value for each picture; for an emission stage it is the contents, for a source stage the paths
    of files that are gone by now, beside ``files``, their pictures.
    """

    declaration: StageDeclaration
    board: Board
    files: tuple[Image.Image, ...]
    before: Any
    after: Any


@cache
def example_board(name: str) -> Board:
    """Read one of our own boards.

    Raises
    ------
    PluginError
        When there is none of that name.
    """
    with as_file(files("ladderlight.reference") / "boards") as folder:
        names = sorted(path.stem for path in folder.glob("*.toml"))
        if name not in names:
            raise PluginError(f"an example names the board {name!r}; {nearest_word(name, names)}")
        return load(folder / f"{name}.toml", pictures=False).board


def play(registry: StageRegistry, declaration: StageDeclaration) -> Played:
    """Run a stage's example in the default chain, which its stage joins or in which it takes its kind's place.

    Raises
    ------
    PluginError
        When the example has options that the stage does not, or names no board of ours.
    """
    example = declaration.example
    options, problems = declaration.check(example.options)
    if problems:
        raise PluginError(
            f"the example of stage {declaration.name!r} is wrong: " + "; ".join(problem.what for problem in problems)
        )
    board = example_board(example.board)
    names = example.pictures[:1] if declaration.kind.per_picture else example.pictures
    drawn = tuple(_drawn(name, see_through=declaration.kind is Kind.SOURCE) for name in names)
    with tempfile.TemporaryDirectory() as folder:
        value: Any = [Path(folder) / f"{name}.png" for name in names]
        for path, image in zip(value, drawn, strict=True):
            image.save(path)
        for step in _chain(registry, declaration):
            own = step.name == declaration.name
            before, value = value, _run(step, value, board, options if own else {})
            if own:
                return Played(declaration=declaration, board=board, files=drawn, before=before, after=value)
    raise AssertionError("the stage is in its own chain")


def _chain(registry: StageRegistry, declaration: StageDeclaration) -> Sequence[StageDeclaration]:
    """Give the default chain with the stage in it: a picture stage at the board's size, as the last of them."""
    if declaration.name in DEFAULT:
        return [registry.get(name) for name in DEFAULT]
    several = declaration.kind in (Kind.PICTURE, Kind.CODED)
    chain = [step for step in map(registry.get, DEFAULT) if several or step.kind is not declaration.kind]
    place = sum(step.kind.rank <= declaration.kind.rank for step in chain)
    return [*chain[:place], declaration, *chain[place:]]


def _run(step: StageDeclaration, value: Any, board: Board, options: dict[str, Any]) -> Any:
    if step.kind is Kind.SOURCE:
        return [step.run(path, board, options)[0] for path in value]
    if step.kind.per_picture:
        return [step.run(picture, board, options) for picture in value]
    return step.run(value, board, options)


def _drawn(name: str, *, see_through: bool) -> Image.Image:
    """Draw the upper part of a scene; for stages that read files with its corners transparent."""
    scene = draw_scene(name)
    width = scene.size[0]
    height = width * _SHAPE[1] // _SHAPE[0]
    scene = scene.crop((0, 0, width, height))
    if see_through:
        # Drawn larger and reduced, for a smooth edge.
        oval = Image.new("L", (2 * width, 2 * height))
        ImageDraw.Draw(oval).ellipse((0, 0, 2 * width - 1, 2 * height - 1), fill=255)
        scene.putalpha(oval.resize((width, height), Image.Resampling.BOX))
    return scene
