"""Stages at work: each stage's example, run on one of our own boards."""

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, reduce
from importlib.resources import as_file, files
from operator import add
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw

from ladderlight.board import Board
from ladderlight.errors import PluginError, nearest_word
from ladderlight.flow.pictures import Origin
from ladderlight.recipe import load
from ladderlight.stages.boundary import look_of, run_stage
from ladderlight.stages.contract import Survey
from ladderlight.stages.declaration import StageDeclaration
from ladderlight.stages.kinds import Kind
from ladderlight.stages.registry import StageRegistry
from ladderlight.starter.scenes import open_scene

PHOTOGRAPHS = {"cafe": "coffee", "quay-cat": "chelsea"}
"""The photographs by their names in examples: functions of ``skimage.data``, each without copyright restrictions."""
_SHAPE = (16, 9)
"""Proportions of the pictures: other than any monitor's, so that cropping shows."""
_PLACE = Origin(name="card", source="card", bank=2)
"""Where a card stands."""


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

    Raises PluginError when there is none of that name.
    """
    with as_file(files("ladderlight.reference") / "boards") as folder:
        names = sorted(path.stem for path in folder.glob("*.toml"))
        if name not in names:
            raise PluginError(f"an example names the board {name!r}; {nearest_word(name, names)}")
        return load(folder / f"{name}.toml", pictures="ignored").board


def play(registry: StageRegistry, declaration: StageDeclaration) -> Played:
    """Run a stage's example in the default chain, which the stage joins, or where it takes the place of its kind.

    Raises PluginError when the example has options that the stage does not, or names an unknown board.
    """
    example = declaration.example
    board = example_board(example.board)
    if declaration.kind is Kind.CARD:
        card, options = _step(declaration, example.options, declaration)
        after = [run_stage(card, board, board, card.complete(options), card.name, origin=_PLACE)]
        return Played(declaration=declaration, board=board, files=(), before=[], after=after)
    steps = _chain(registry, declaration)
    names = example.pictures[:1] if declaration.kind.per_picture else example.pictures
    drawn = tuple(_drawn(name, see_through=declaration.kind is Kind.SOURCE) for name in names)
    with tempfile.TemporaryDirectory() as folder:
        value: Any = [Path(folder) / f"{name}.png" for name in names]
        for path, image in zip(value, drawn, strict=True):
            image.save(path)
        for step, options in steps:
            before, value = value, _run(step, value, board, options)
            if step.name == declaration.name:
                return Played(declaration=declaration, board=board, files=drawn, before=before, after=value)
    raise AssertionError("the stage is in its own chain")


_Step = tuple[StageDeclaration, dict[str, Any]]


def _chain(registry: StageRegistry, declaration: StageDeclaration) -> list[_Step]:
    """Return the default chain with the stage in it: a picture stage at the board's size, as the last of them."""
    example = declaration.example
    own = _step(declaration, example.options, declaration)
    others = [_other(registry, use, declaration) for use in example.others]
    chain = [_step(registry.get(name), {}, declaration) for name in registry.default_chain]
    if declaration.name in registry.default_chain:
        chain = [own if step.name == declaration.name else (step, options) for step, options in chain]
    else:
        others.append(own)
    for added in others:
        kind = added[0].kind
        if kind not in (Kind.PICTURE, Kind.CODED):
            chain = [step for step in chain if step[0].kind is not kind]
        place = sum(step.kind.rank <= kind.rank for step, _ in chain)
        chain.insert(place, added)
    return chain


def _other(registry: StageRegistry, use: Mapping[str, Any], declaration: StageDeclaration) -> _Step:
    options = {key: value for key, value in use.items() if key != "use"}
    return _step(registry.get(use["use"]), options, declaration)


def _step(step: StageDeclaration, raw: Mapping[str, Any], declaration: StageDeclaration) -> _Step:
    options, problems = step.check(raw)
    if problems:
        raise PluginError(
            f"the example of stage {declaration.name!r} is wrong: " + "; ".join(problem.what for problem in problems)
        )
    return step, options


def _run(step: StageDeclaration, value: Any, board: Board, options: dict[str, Any]) -> Any:
    if step.kind is Kind.SOURCE:
        return [next(iter(step.run(path, board, options))) for path in value]
    if step.kind.per_picture:
        look = look_of(step, board, options, "the pictures")
        survey = Survey(total=reduce(add, map(look, value)) if look else None)
        return [step.run(picture, board, options, survey=survey) for picture in value]
    return step.run(value, board, options)


def _drawn(name: str, *, see_through: bool) -> Image.Image:
    """Cut a photograph, or the upper part of a scene; for stages that read files with its corners transparent."""
    if name in PHOTOGRAPHS:
        from skimage import data

        scene, share = Image.fromarray(getattr(data, PHOTOGRAPHS[name])()), 0.5
    else:
        scene, share = open_scene(name), 0.0
    width = scene.size[0]
    height = width * _SHAPE[1] // _SHAPE[0]
    top = round((scene.size[1] - height) * share)
    scene = scene.crop((0, top, width, top + height))
    if see_through:
        # Drawn larger and reduced, for a smooth edge.
        oval = Image.new("L", (2 * width, 2 * height))
        ImageDraw.Draw(oval).ellipse((0, 0, 2 * width - 1, 2 * height - 1), fill=255)
        scene.putalpha(oval.resize((width, height), Image.Resampling.BOX))
    return scene
