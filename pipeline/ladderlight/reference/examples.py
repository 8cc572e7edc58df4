"""Stages at work: each stage's example, run on one of our own boards, and drawn before and after it."""

import math
import tempfile
from collections.abc import Mapping, Sequence
from functools import cache, reduce
from importlib.resources import as_file, files
from operator import add
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from ladderlight.board import Board, Memory, srgb_from_linear
from ladderlight.errors import PluginError, nearest_word
from ladderlight.flow.images import saved
from ladderlight.flow.pictures import CodedPicture, Contents, MemoryContents, Origin, Picture
from ladderlight.recipe import load
from ladderlight.stages.boundary import HooksOf, run_stage
from ladderlight.stages.contract import Survey
from ladderlight.stages.declaration import StageDeclaration
from ladderlight.stages.kinds import Kind
from ladderlight.stages.registry import StageRegistry
from ladderlight.starter import open_scene
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Bytes

PHOTOGRAPHS = {"cafe": "coffee", "quay-cat": "chelsea"}
"""The photographs by their names in examples: functions of ``skimage.data``, each without copyright restrictions."""
_SHAPE = (16, 9)  # proportions of the pictures: other than any monitor's, so that cropping shows
_PLACE = Origin(name="card", source="card", bank=2)  # where a card stands
_Step = tuple[StageDeclaration, dict[str, Any]]
_PANEL = (320, 240)
_GAP = 8
_PAPER = (128, 128, 128)
_CHECKS = ((204, 204, 204), (255, 255, 255))
_UNREAD = (64, 24, 48)


class Played(Frozen):
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
    """Read one of our own boards. Raises PluginError when there is none of that name."""
    with as_file(files("ladderlight.reference") / "boards") as folder:
        names = sorted(path.stem for path in folder.glob("*.toml"))
        if name not in names:
            raise PluginError(f"an example names the board {name!r}; {nearest_word(name, names)}")
        return load(folder / f"{name}.toml", pictures="ignored").board


def play(registry: StageRegistry, declaration: StageDeclaration) -> Played:
    """Run a stage's example in the default chain with the stage. Raises PluginError for wrong options or board."""
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


def _chain(registry: StageRegistry, declaration: StageDeclaration) -> list[_Step]:
    """Return the default chain with the stage in it: a picture stage at the board's size, as the last of them."""
    own = _step(declaration, declaration.example.options, declaration)
    uses = (dict(use) for use in declaration.example.others)
    others = [_step(registry.get(use.pop("use")), use, declaration) for use in uses]
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
        look = HooksOf(step, board, options).look("the pictures")
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


def strip_png(played: Played) -> bytes | None:
    """Draw an example before and after its stage, as a PNG; None where nothing of it can be seen as a picture."""
    kind = played.declaration.kind
    if kind is Kind.EMISSION:
        return None
    before = list(map(_over_checks, played.files)) if kind is Kind.SOURCE else _seen(played.before, played.board)
    after = _arranged(played.after, played.board) if kind is Kind.ARRANGEMENT else _seen(played.after, played.board)
    panels = [_panel(_laid_out(pictures)) for pictures in (before, after) if pictures]
    height = max(panel.size[1] for panel in panels)
    strip = Image.new("RGB", (sum(panel.size[0] + _GAP for panel in panels) - _GAP, height), _PAPER)
    left = 0
    for panel in panels:
        strip.paste(panel, (left, (height - panel.size[1]) // 2))
        left += panel.size[0] + _GAP
    return saved(strip, compression=9)


def _seen(pictures: Sequence[Picture | CodedPicture], board: Board) -> list[Bytes]:
    return [
        board.palette.srgb8[picture.codes]
        if isinstance(picture, CodedPicture)
        else rounded(srgb_from_linear(np.clip(picture.pixels, 0, 1)) * 255)
        for picture in pictures
    ]


def rounded(values: NDArray[Any]) -> Bytes:
    """Return values of a photograph in steps of four, by two of 255 off at most: files are a third smaller."""
    return np.asarray(np.minimum(np.rint(values / 4) * 4, 255), dtype=np.uint8)


def _over_checks(image: Image.Image) -> Bytes:
    """Lay a picture over a chequered ground, the usual sign for transparent."""
    width, height = image.size
    y, x = np.indices((height, width)) // (height // 30)
    ground = Image.fromarray(np.array(_CHECKS, dtype=np.uint8)[(x + y) % 2])
    ground.paste(image, mask=image if "A" in image.getbands() else None)
    return np.asarray(ground)


def _arranged(contents: Contents, board: Board) -> list[Bytes]:
    """Show the tile sets that an arrangement made; without any, the memories themselves."""
    if not contents.tile_sets:
        return [_words(memory, contents.memories[memory.name], board) for memory in board.memories]
    sets = [tile_set.codes[np.argsort(tile_set.numbers)] for tile_set in contents.tile_sets]
    return [_laid_out(list(board.palette.srgb8[codes]), gap=1, wide=4 / 3) for codes in sets]


def _words(memory: Memory, contents: MemoryContents, board: Board) -> Bytes:
    """Show a memory's words in rows by address: in the colours that they drive, as greys, or as never read."""
    bits = {name: bit for bit, name in enumerate(board.code_lines)}
    words = contents.words.astype(np.int64)
    pins = [(pin, bits[name]) for pin, name in enumerate(memory.data) if name in bits]
    if pins:
        shown = board.palette.srgb8[sum((words >> pin & 1) << bit for pin, bit in pins)]
    else:
        full = max(int(words[contents.written > 0].max(initial=1)), 1)
        shown = np.repeat((np.minimum(words, full) * 255 // full).astype(np.uint8)[:, None], 3, axis=1)
    shown = np.where((contents.written > 0)[:, None], shown, np.array(_UNREAD, dtype=np.uint8))
    width = 1 << max(len(words).bit_length() // 2 - 1, 0)
    return shown.reshape(-1, width, 3)


def _laid_out(pictures: Sequence[Bytes], *, gap: int = 0, wide: float = 1) -> Bytes:
    """Lay pictures out in rows, ``wide`` times as many across as down, with a gap beside and below each."""
    height, width = (max(picture.shape[axis] for picture in pictures) + gap for axis in (0, 1))
    across = math.ceil(math.sqrt(len(pictures) * wide))
    sheet = np.full((math.ceil(len(pictures) / across) * height, across * width, 3), _PAPER[0], dtype=np.uint8)
    for place, picture in enumerate(pictures):
        y, x = place // across * height, place % across * width
        sheet[y : y + picture.shape[0], x : x + picture.shape[1]] = picture
    return sheet


def _panel(picture: Bytes) -> Image.Image:
    """Enlarge by whole pixels, so that single ones are seen, or reduce, to fit."""
    image = Image.fromarray(picture)
    width, height = image.size
    times = min(_PANEL[0] // width, _PANEL[1] // height)
    if times >= 1:
        return image.resize((width * times, height * times), Image.Resampling.NEAREST)
    scale = min(_PANEL[0] / width, _PANEL[1] / height)
    reduced = image.resize((max(1, round(width * scale)), max(1, round(height * scale))), Image.Resampling.LANCZOS)
    return Image.fromarray(rounded(np.asarray(reduced)))
