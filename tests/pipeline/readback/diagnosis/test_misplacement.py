"""Dumps that are shifted: pictures that repeat themselves, in every direction, by many distances."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image
from skimage import data

from ladderlight.board import Part
from ladderlight.flow.pictures import Span
from ladderlight.readback.diagnosis.misplacement import shifts
from ladderlight.readback.diagnosis.weighing import diagnose
from ladderlight.readback.dumps import Reading
from ladderlight.readback.sections import Section, image_of


def whole(board, words, at=0):
    """A device that was read at once."""
    device = board.devices[at]
    read = (Section(device=device, span=Span()),)
    return Reading(device=device, image=image_of(words, device), read=read)


WIDTH, HEIGHT, STRIDE, BANKS = 40, 30, 64, 4


def colour_bars(bank):
    """Eight upright bars, turned on by the bank."""
    return np.broadcast_to((np.arange(WIDTH) // 5 + bank) % 8 * 9, (HEIGHT, WIDTH))


def tiles(bank):
    """One tile of 8 by 8 over and over, as pixel art has it."""
    tile = np.random.default_rng(5 + bank).integers(0, 4, (8, 8)) * 21
    return np.tile(tile, (4, 5))[:HEIGHT, :WIDTH]


def text(bank):
    """Lines of a few characters of 8 by 8 in white on black, most of the page empty."""
    rng = np.random.default_rng(50 + bank)
    characters = rng.integers(0, 2, (6, 7, 6)) * 63
    page = np.zeros((HEIGHT, WIDTH), dtype=np.int64)
    for line in range(3):
        for column, which in enumerate(rng.integers(0, 6, 3 + line)):
            page[line * 8 : line * 8 + 7, column * 8 : column * 8 + 6] = characters[which]
    return page


def plain(bank):
    """A single colour with one line through it."""
    page = np.full((HEIGHT, WIDTH), 21 + bank)
    page[7] = 63
    return page


def photograph(bank):
    """Two bits of each colour of a photograph."""
    picture = Image.fromarray((data.chelsea, data.coffee, data.rocket, data.astronaut)[bank]()).resize((WIDTH, HEIGHT))
    levels = np.asarray(picture).astype(np.int64) >> 6
    return levels[..., 2] | levels[..., 1] << 2 | levels[..., 0] << 4


PICTURES = (colour_bars, tiles, text, plain, photograph)


def contents(picture, spare=0):
    """Four banks of a picture at 64 words a row, all else erased; the spare data lines are set."""
    words = np.full(BANKS * 32 * STRIDE, 63 | spare, dtype=np.uint32)
    for bank in range(BANKS):
        at = (bank * 32 + np.arange(HEIGHT)[:, None]) * STRIDE + np.arange(WIDTH)
        words[at] = picture(bank).astype(np.uint32) | spare
    return words


def shifted(image, distance, rest):
    moved = np.roll(image, distance)
    if rest is not None:
        moved[slice(0, distance) if distance > 0 else slice(distance, None)] = rest
    return moved


@pytest.fixture
def board_of(make_board, memory):
    def make(part):
        lines = ["b0-b1", "g0-g1", "r0-r1"]
        return make_board(memory(address=["x4-x9", "y4-y8", "bank0-bank1"], data=lines, part=part))

    return make


DISTANCES = (1, 2, 5, 8, 63, 64, 777, 5000)


def likeliest(board, words, found):
    diagnoses = diagnose(board, {"picture": words}, whole(board, found))
    return [item for item in diagnoses if item.confidence == diagnoses[0].confidence]


def named(distance, rest):
    """The text for a shift, without what stands between when more distances look the same."""
    end = {None: ", wrapping round", 0xFF: "; the rest is erased", 0x00: "; the rest is zero"}[rest]
    size = abs(distance)
    return f"data shifted {'up' if distance > 0 else 'down'} by {size:,} byte{'s' * (size > 1)} ({size:X}h)", end


@pytest.mark.parametrize("rest", [None, 0xFF, 0x00])
@pytest.mark.parametrize("picture", PICTURES)
@pytest.mark.parametrize("width", [8, 16])
def test_a_shift_is_named_or_what_looks_the_very_same(board_of, width, picture, rest):
    board = board_of("28C64" if width == 8 else Part(number="wide", words=8192, width=16))
    words = contents(picture, (1 << width) - 64)
    image = words.astype("<u2" if width == 16 else np.uint8).view(np.uint8)
    missed = []
    for distance in (*DISTANCES, *(-distance for distance in DISTANCES)):
        moved = shifted(image, distance, rest)
        if (moved == image).all():
            continue
        found = moved.view("<u2" if width == 16 else np.uint8).astype(np.uint32)
        best = likeliest(board, words, found)
        if rest is None and 2 * abs(distance) > image.size:  # round a ring the other way is shorter
            distance -= image.size if distance > 0 else -image.size
        start, end = named(distance, rest)
        assert best[0].explained == 1
        if not any(item.text.startswith(start) and item.text.endswith(end) for item in best):
            missed.append((distance, [item.text for item in best]))
    assert missed == []


def test_the_best_explanation_wins_and_equal_ones_are_all_given():
    """By hand: a row of four, over and over, and one odd byte that only one distance puts right."""
    before = np.tile(np.arange(1, 5, dtype=np.uint8), 64)
    same = shifts(before, np.roll(before, 2))
    assert [(shift.distance, shift.missed) for shift in same if shift.rest is None] == [
        (2, 0),
        (-2, 0),
        (6, 0),
        (-6, 0),
    ]
    assert [shift.alike for shift in same if shift.rest is None] == [False, False, False, True]
    before[100] = 9
    one = [shift for shift in shifts(before, np.roll(before, 2)) if shift.rest is None]
    assert [(shift.distance, shift.missed, shift.alike) for shift in one] == [(2, 0, False)]
    assert one[0].text == "data shifted up by 2 bytes (2h), wrapping round"


def test_a_shift_of_a_large_device_is_found_in_noise():
    """Agreement is counted over all of 1 MiB, so a flipped bit in every tenth byte hides nothing."""
    rng = np.random.default_rng(4)
    row = np.tile(rng.integers(0, 8, 16, dtype=np.uint8), 64)
    before = np.concatenate([np.tile(np.roll(row, 16 * n), 4) for n in range(256)])
    before[::1000] ^= 64  # what tells a row from the next
    after = np.roll(before, 12_345)
    after ^= np.where(rng.random(after.size) < 0.1, 1, 0).astype(np.uint8)
    best = shifts(before, after)[0]
    assert (best.distance, best.rest) == (12_345, None)


@pytest.mark.parametrize("size", [1, 2, 3, 7, 97])
def test_small_and_odd_sizes(size):
    before = np.arange(size, dtype=np.uint8)
    found = shifts(before, np.roll(before, 1))
    assert [(shift.distance, shift.missed) for shift in found[:1]] == ([(1, 0)] if size > 1 else [])
