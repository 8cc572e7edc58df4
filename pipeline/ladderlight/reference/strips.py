"""Pictures of stages at work: what went in on the left, what came out on the right."""

import io
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ladderlight.board import Board, Memory, srgb_from_linear
from ladderlight.flow.pictures import CodedPicture, Contents, MemoryContents, Picture, TileSet
from ladderlight.reference.examples import Played
from ladderlight.stages.kinds import Kind
from ladderlight.units.arrays import Bytes

RGB = Bytes
_PANEL = (320, 240)
_GAP = 8
_PAPER = (128, 128, 128)
_CHECKS = ((204, 204, 204), (255, 255, 255))
_UNREAD = (64, 24, 48)
_STEP = 4
"""Values of photographs are rounded to multiples of this, by two of 255 at most: the files are a third smaller."""


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
    buffer = io.BytesIO()
    strip.save(buffer, "PNG", optimize=True)
    return buffer.getvalue()


def _seen(pictures: Sequence[Picture | CodedPicture], board: Board) -> list[RGB]:
    """Return pictures as an sRGB monitor shows them."""
    return [
        board.palette.srgb8[picture.codes]
        if isinstance(picture, CodedPicture)
        else _rounded(srgb_from_linear(np.clip(picture.pixels, 0, 1)) * 255)
        for picture in pictures
    ]


def _rounded(values: NDArray[Any]) -> RGB:
    rounded: NDArray[Any] = np.minimum(np.rint(values / _STEP) * _STEP, 255)
    return rounded.astype(np.uint8)


def _over_checks(image: Image.Image) -> RGB:
    """Lay a picture over a chequered ground, the usual sign for transparent."""
    width, height = image.size
    y, x = np.indices((height, width)) // (height // 30)
    ground = Image.fromarray(np.array(_CHECKS, dtype=np.uint8)[(x + y) % 2])
    ground.paste(image, mask=image if "A" in image.getbands() else None)
    return np.asarray(ground)


def _arranged(contents: Contents, board: Board) -> list[RGB]:
    """Show the tile sets that an arrangement made; without any, the memories themselves."""
    if contents.tile_sets:
        return [_sheet(tile_set, board) for tile_set in contents.tile_sets]
    return [_words(memory, contents.memories[memory.name], board) for memory in board.memories]


def _sheet(tile_set: TileSet, board: Board) -> RGB:
    """Lay tiles out in the order of their numbers, a pixel apart."""
    tiles = board.palette.srgb8[tile_set.codes[np.argsort(tile_set.numbers)]]
    across = math.ceil(math.sqrt(len(tiles) * 4 / 3))
    padded = np.pad(tiles, ((0, -len(tiles) % across), (0, 1), (0, 1), (0, 0)), constant_values=_PAPER[0])
    rows = padded.reshape(-1, across, *padded.shape[1:])
    return rows.swapaxes(1, 2).reshape(rows.shape[0] * rows.shape[2], -1, 3)


def _words(memory: Memory, contents: MemoryContents, board: Board) -> RGB:
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


def _laid_out(pictures: Sequence[RGB]) -> RGB:
    """Lay out pictures side by side, or two by two."""
    if len(pictures) == 1:
        return pictures[0]
    height, width = (max(picture.shape[axis] for picture in pictures) for axis in (0, 1))
    across = math.ceil(math.sqrt(len(pictures)))
    sheet = np.full((math.ceil(len(pictures) / across) * height, across * width, 3), _PAPER[0], dtype=np.uint8)
    for place, picture in enumerate(pictures):
        y, x = place // across * height, place % across * width
        sheet[y : y + picture.shape[0], x : x + picture.shape[1]] = picture
    return sheet


def _panel(picture: RGB) -> Image.Image:
    """Enlarge by whole pixels, so that single ones are seen, or reduce, to fit."""
    image = Image.fromarray(picture)
    width, height = image.size
    times = min(_PANEL[0] // width, _PANEL[1] // height)
    if times >= 1:
        return image.resize((width * times, height * times), Image.Resampling.NEAREST)
    scale = min(_PANEL[0] / width, _PANEL[1] / height)
    reduced = image.resize((max(1, round(width * scale)), max(1, round(height * scale))), Image.Resampling.LANCZOS)
    return Image.fromarray(_rounded(np.asarray(reduced)))
