"""A wide device with photographs in it, for dumps of even and odd bytes and of pieces."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from PIL import Image
from skimage import data

from ladderlight import Contents, MemoryContents
from ladderlight.board import Part

PHOTOGRAPHS = ("chelsea", "coffee", "rocket", "coins", "moon", "brick", "grass")
BANK_WORDS = 2048


@cache
def _levels(name, bits):
    """A photograph of 40 by 30 pixels with so many bits for each colour, by Pillow."""
    picture = Image.fromarray(getattr(data, name)()).convert("RGB").resize((40, 30))
    return np.asarray(picture).astype(np.uint32) >> (8 - bits)


@pytest.fixture
def photographs():
    """Words of a memory with the wiring x4-x9, y4-y8, bank0-bank1 and a photograph in every bank, placed by hand."""

    def words(board, random):
        memory = board.memories[0]
        bits = len(board.code_lines) // 3
        held = np.full(memory.part.words * memory.chips, memory.fill_word, dtype=np.uint32)
        spare = np.uint32(memory.fill_word & ~((1 << 3 * bits) - 1))
        for bank, name in enumerate(random.choice(PHOTOGRAPHS, 4, replace=False)):
            levels = _levels(str(name), bits)
            at = bank * BANK_WORDS + (np.arange(30)[:, None] << 6) + np.arange(40)
            held[at] = levels[..., 2] | levels[..., 1] << bits | levels[..., 0] << 2 * bits | spare
        return held

    return words


@pytest.fixture
def wide(make_board, memory, ladder):
    """A board of 40 by 30 pixels in 4,096 codes with four banks in one device of 8 Ki words of 16 bits."""
    channels = {gun: {f"{gun[0]}{bit}": 4000.0 / 2**bit for bit in range(4)} for gun in ("red", "green", "blue")}
    part = Part(number="wide", words=8192, width=16)
    lines = ["b0-b3", "g0-g3", "r0-r3"]
    return make_board(
        memory(address=["x4-x9", "y4-y8", "bank0-bank1"], data=lines, part=part), ladder=ladder(**channels)
    )


@pytest.fixture
def narrow(make_board, memory):
    """The same in 64 codes, with words of 8 bits."""

    def make(**more):
        lines = ["b0-b1", "g0-g1", "r0-r1"]
        return make_board(memory(address=["x4-x9", "y4-y8", "bank0-bank1"], data=lines, part="28C64", **more))

    return make


@pytest.fixture
def contents_of():
    """Contents of a one-memory board from its words, all of them read."""

    def make(board, words):
        memory = board.memories[0]
        written = np.full_like(words, (1 << memory.part.width) - 1)
        return Contents(memories={memory.name: MemoryContents(words=words, written=written)})

    return make
