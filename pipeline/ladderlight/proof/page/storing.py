"""What the page holds as text: words of memories, and source pictures no better than it can bear.

Binary data are deflated, in a dense alphabet that neither HTML nor JSON has to escape.
"""

import io
import zlib
from collections.abc import Mapping, Sequence
from itertools import product
from typing import Any

import numpy as np

from ladderlight.board import Board, Memory
from ladderlight.board.model.lines import Signal
from ladderlight.devices.files import bytes_of
from ladderlight.flow.pictures import SourceView
from ladderlight.storage.stopping import side_by_side
from ladderlight.units.arrays import Words, bytes_per_word

ALPHABET = "".join(chr(code) for code in range(0x21, 0x7F) if chr(code) not in '"\\<')
"""The 91 characters. Two of them hold 13 bits, 23 % more than the bytes; Base64 takes 33 %."""
_BITS = 13
_PAIRS = np.frombuffer("".join(map("".join, product(ALPHABET, ALPHABET))).encode("ascii"), dtype=np.uint16)
"""The two characters of each number."""
_SINGLE = 6  # bits that one character alone holds, at the end
_LEAST_PAGE = 1024
_LONGEST_CHAIN = 24  # pages that are told from each other in a row, so that few must be unpacked to see one
_MUCH_ALIKE = 0.4  # share of a page's words from which on its difference to the one before is tried
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
_FOR_EACH_MORE = 2_000


def text_of(data: bytes) -> str:
    """Return bytes as text: 13 bits, the first in the high place, make two characters; a short rest may make one."""
    whole, rest = divmod(8 * len(data), _BITS)
    bits = np.unpackbits(np.frombuffer(data, dtype=np.uint8), count=(whole + 1) * _BITS)
    padded = np.zeros((whole + 1, 16), dtype=np.uint8)
    padded[:, -_BITS:] = bits.reshape(-1, _BITS)
    numbers = np.packbits(padded).view(">u2")
    pairs = _PAIRS.take(numbers[: whole + (rest > _SINGLE)]).tobytes().decode("ascii")
    return pairs + (ALPHABET[numbers[-1] >> _BITS - _SINGLE] if 0 < rest <= _SINGLE else "")


def stored_size(count: int) -> int:
    """Return how many characters so many bytes take."""
    return -(-count * 16 // _BITS)


def deflated(data: bytes) -> bytes:
    """Return data deflated without a header (RFC 1951)."""
    packer = zlib.compressobj(6, zlib.DEFLATED, -15)  # 9 takes twice as long for 0.2 % less of dithered photographs
    return packer.compress(data) + packer.flush()


def stored_words(board: Board, memory: Memory, words: Words) -> dict[str, Any]:
    """Return a memory's words in pages, those of equal words once.

    ``page``: the words of one. ``fill``: the word that every page has where ``reads`` is clear: a bit for each word of
    a page, the first in the high place, deflated. ``contents``: each distinct page's words where ``reads`` is set, all
    low bytes first, then the next higher ones, deflated. ``bases``: for each of these the page whose bytes turn its own
    (exclusive or), -1 for none. ``order``: which of them each page holds.
    """
    size = page_size(board, memory)
    pages = words.reshape(-1, size)
    order: dict[bytes, int] = {}
    places = [order.setdefault(page.tobytes(), len(order)) for page in pages]
    firsts = [places.index(number) for number in range(len(order))]
    reads = (pages[firsts] != memory.fill_word).any(axis=0)
    width = bytes_per_word(memory.part.width)
    held = (bytes_of(pages[first][reads], memory.part.width) for first in firsts)
    bodies = [np.frombuffer(words_of_page, dtype=np.uint8).reshape(-1, width).T.tobytes() for words_of_page in held]
    bases = _bases(bodies)
    turned = [_turned(body, bodies[base]) if base >= 0 else body for body, base in zip(bodies, bases, strict=True)]
    return {
        "page": size,
        "fill": memory.fill_word,
        "reads": text_of(deflated(np.packbits(reads).tobytes())),
        "contents": [text_of(each) for each in side_by_side(deflated, turned)],
        "bases": bases,
        "order": places,
    }


def page_size(board: Board, memory: Memory) -> int:
    """Return the words of a page: the most that no bank line divides, but not too few."""
    pins = [
        pin
        for pin, expression in enumerate(memory.address)
        if any(board.resolve(line).signal is Signal.BANK for line in expression.lines)
    ]
    return min(memory.words, max(_LEAST_PAGE, 1 << min(pins, default=memory.address_pins)))


def _turned(data: bytes, base: bytes) -> bytes:
    return (np.frombuffer(data, dtype=np.uint8) ^ np.frombuffer(base, dtype=np.uint8)).tobytes()


def _bases(bodies: Sequence[bytes]) -> list[int]:
    """Return for each page the one before where that is much alike, else -1."""
    bases = [-1] * len(bodies)
    chain = 0
    for at in range(1, len(bodies)):
        same = _turned(bodies[at], bodies[at - 1]).count(0)
        alike = chain < _LONGEST_CHAIN and 0 < same >= _MUCH_ALIKE * len(bodies[at])
        chain = chain + 1 if alike else 0
        bases[at] = at - 1 if alike else -1
    return bases


def room_for_views(size: tuple[int, int], contents: int, rest: int) -> int:
    """Return the bytes of text that sources may take in a page.

    A page with 64 pictures of 160 by 120 pixels is to stay below 0.9 MB, one with 201 below 1.2 MB, and larger pictures
    may take as much more as they have pixels. ``size`` is width and height of the pictures, ``contents`` how many
    different ones there are, ``rest`` the bytes of the page without its sources.
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

    return side_by_side(encoded, data)
