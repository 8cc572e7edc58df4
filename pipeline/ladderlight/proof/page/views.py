"""Source pictures for the page, no better than it can bear."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from ladderlight.flow.pictures import SourceView
from ladderlight.proof.page.storing import stored_size, text_of

_STEPS = (
    *((1, quality) for quality in (75, 60, 45, 30, 20, 10, 5)),
    *((down, quality) for down in (2, 3, 4) for quality in (30, 10)),
)
"""Pixels across one that is kept, and the quality of WebP, which at this size needs half of a JPEG's bytes."""
_SAMPLES = 8
_LEAST = 20_000
_SMALL = 160 * 120
_WHOLE = 890_000
_MANY = 64
_FOR_EACH_MORE = 2_300


def room_for_views(size: tuple[int, int], contents: int, rest: int) -> int:
    """Return the bytes of text that sources may take in a page.

    A page with 64 pictures of 160 by 120 pixels is to stay below 0.9 MB, one with 201 below 1.2 MB, and larger pictures
    may take as much more as they have pixels.

    Parameters
    ----------
    size
        Width and height of the pictures.
    contents
        How many different ones there are.
    rest
        Bytes of the page without its sources.
    """
    scale = size[0] * size[1] / _SMALL
    whole = (_WHOLE + _FOR_EACH_MORE * max(0, contents - _MANY)) * max(1.0, scale)
    return round(max(_LEAST * max(1.0, scale), whole - rest))


def stored_views(views: Mapping[str, SourceView], room: int) -> tuple[list[dict[str, Any]], dict[str, int]]:
    """Return the views for the page, each once, and by name which one each picture has.

    As they are where there is room; else in the best quality that fits; and where none does, those of some pictures
    are left out, evenly.
    """
    each = list(dict.fromkeys(views.values()))
    data, down = _fitting([view.data for view in each], room)
    stored = [
        {"data": text_of(found), "down": down, "size": view.size, "crop": view.crop}
        for view, found in zip(each, data, strict=True)
        if found
    ]
    kept = {view: number for number, view in enumerate(view for view, found in zip(each, data, strict=True) if found)}
    return stored, {name: kept[view] for name, view in views.items() if view in kept}


def _fitting(data: Sequence[bytes], room: int) -> tuple[list[bytes], int]:
    """Return pictures in the best quality that fits, those left out empty, and pixels across one that is kept."""
    if stored_size(sum(map(len, data))) <= room:
        return list(data), 1
    some = data[:: -(-len(data) // _SAMPLES)]
    found, step = list(data), _STEPS[-1]
    for number, step in enumerate(_STEPS):
        likely = stored_size(sum(map(len, _webp(some, *step)))) * len(data) <= room * len(some)
        if not likely and number + 1 < len(_STEPS):
            continue
        found = _webp(data, *step)
        if stored_size(sum(map(len, found))) <= room:
            return found, step[0]
    every = -(-stored_size(sum(map(len, found))) // room)
    return [each if number % every == 0 else b"" for number, each in enumerate(found)], step[0]


def _webp(data: Sequence[bytes], down: int, quality: int) -> list[bytes]:
    from PIL import Image

    def encoded(jpeg: bytes) -> bytes:
        file = io.BytesIO()
        with Image.open(io.BytesIO(jpeg)) as picture:
            size = [max(1, length // down) for length in picture.size]
            small = picture if down == 1 else picture.resize(size, Image.Resampling.BOX)
            small.save(file, format="WEBP", quality=quality)
        return file.getvalue()

    with ThreadPoolExecutor() as pool:
        return list(pool.map(encoded, data))
