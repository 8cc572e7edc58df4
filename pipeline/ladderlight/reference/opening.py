"""The picture that opens the project's own page: a photograph, what a board shows of it, and the ladder that does."""

import shutil
import tempfile
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from ladderlight.board.model.ladder import GUNS, Ladder
from ladderlight.errors import BuildError
from ladderlight.flow.images import saved
from ladderlight.recipe import load
from ladderlight.recipe.inputs import input_files
from ladderlight.reference.examples import rounded
from ladderlight.workspace.build import build

GROUND = (28, 33, 40)
"""The picture brings its own ground, and so is the same on a light page and on a dark one."""
INK = (232, 236, 240)
GUN_INKS = ((255, 122, 112), (110, 214, 128), (132, 176, 255))
"""Colours of the guns' wires, light enough to be told from the ground."""
_SCREEN = (640, 480)
_PANEL = (320, 240)  # half the screen: one pixel for each two by two of it
_MARGIN, _GAP = 16, 16
_LADDER = 216
_TEXT, _SMALL = 15, 13


def opening_png(recipe: Path) -> bytes:
    """Build a copy of a recipe and draw its first picture beside what the board shows of it, and the board's ladder.

    The recipe's files lie in its own folder; its pixels are of an even number of counts and lines. Raises BuildError
    when the board's screen is not 640 by 480.
    """
    with tempfile.TemporaryDirectory() as folder:
        copy = shutil.copytree(recipe.parent, Path(folder) / "board", ignore=shutil.ignore_patterns("out"))
        loaded = load(copy / recipe.name)
        built = build(loaded, cached=False)
        first = next(built.manifest.pictures)
        with Image.open(input_files(loaded)[first["source"]]) as file:
            photograph = _cropped(file.convert("RGB"))
        with Image.open(built.output / "proof" / "screens" / f"bank{first['bank']}.png") as file:
            screen = file.convert("RGB")
    board = loaded.board
    if screen.size != _SCREEN:
        raise BuildError(f"shows {screen.size[0]} by {screen.size[1]} counts and lines, not 640 by 480", where=recipe)
    shown = screen.resize(_PANEL, Image.Resampling.NEAREST)
    lines = sum(len(channel.lines) for channel in board.ladder.channels)
    colours = len(np.unique(board.palette.srgb8, axis=0))
    titles = ("a photograph", f"on the board: {colours} colours", f"made by {lines} resistors (ohm)")
    width = 2 * (_MARGIN + _PANEL[0] + _GAP) + _LADDER
    image = Image.new("RGB", (width, _MARGIN + _PANEL[1] + 8 + _TEXT + _MARGIN), GROUND)
    draw = ImageDraw.Draw(image)
    for place, title in enumerate(titles):
        left = _MARGIN + place * (_PANEL[0] + _GAP)
        if place < 2:
            image.paste((photograph, shown)[place], (left, _MARGIN))
        else:
            _draw_ladder(draw, board.ladder, left, _MARGIN)
        draw.text((left, _MARGIN + _PANEL[1] + 6), title, INK, ImageFont.load_default(_TEXT))
    return saved(image, compression=9)


def _cropped(image: Image.Image) -> Image.Image:
    width, height = image.size
    wide = min(width, height * _PANEL[0] // _PANEL[1])
    high = wide * _PANEL[1] // _PANEL[0]
    left, top = (width - wide) // 2, (height - high) // 2
    reduced = image.resize(_PANEL, Image.Resampling.LANCZOS, box=(left, top, left + wide, top + high))
    return Image.fromarray(rounded(np.asarray(reduced)))


def _draw_ladder(draw: ImageDraw.ImageDraw, ladder: Ladder, left: int, top: int) -> None:
    """Draw each line with its resistor up to the wire of its gun; the lines are spread over the panel's height."""
    small = ImageFont.load_default(_SMALL)
    count = sum(len(channel.lines) for channel in ladder.channels)
    pitch = (_PANEL[1] - 2 * (len(ladder.channels) - 1)) / count
    y = top + pitch / 2
    for channel in ladder.channels:
        ink = GUN_INKS[channel.guns[0]]
        first = y
        for line in reversed(channel.weighted_lines):
            draw.text((left, y), line, INK, small, anchor="lm")
            draw.line((left + 22, y, left + 44, y), INK, 2)
            draw.rectangle((left + 44, y - 9, left + 108, y + 9), outline=INK, width=2)
            draw.text((left + 76, y), f"{channel.resistors[line]:,.0f}", INK, small, anchor="mm")
            draw.line((left + 108, y, left + 138, y), ink, 2)
            last, y = y, y + pitch
        draw.line((left + 138, first, left + 138, last), ink, 2)
        middle = (first + last) / 2
        draw.line((left + 138, middle, left + 160, middle), ink, 2)
        draw.text((left + 166, middle), GUNS[channel.guns[0]], ink, small, anchor="lm")
        y += 2
