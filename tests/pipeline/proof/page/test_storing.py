"""Words and other bytes as text of the page, and back in the browser."""

import numpy as np
import pytest

from ladderlight.board import Part
from ladderlight.proof.page.storing import ALPHABET, page_size, stored_size, stored_words, text_of
from ladderlight.units.arrays import dtype_of

UNPACK = """
async ([memory, stored]) => {
  const words = makeWords(memory, stored);
  await words.load([...Array(memory.words / words.pageSize).keys()].reverse());
  return Array.from(words.all);
}
"""


def test_the_text_needs_no_escape_in_html_or_json():
    assert set(ALPHABET) == set(map(chr, range(0x21, 0x7F))) - set('"\\<')
    assert len(ALPHABET) ** 2 >= 1 << 13


def test_thirteen_bits_are_two_letters_the_first_in_the_high_place():
    """By hand: 01h 00h are the bits 0000000100000, which are 32, letters 0 and 32, and 000, one letter of 6 bits."""
    assert text_of(b"\x01\x00") == ALPHABET[0] + ALPHABET[32] + ALPHABET[0]


@pytest.mark.parametrize("count", [*range(28), 1000])
def test_bytes_of_any_number_come_back_in_the_browser(count, page_scripts):
    data = np.random.default_rng(count).integers(0, 256, count, dtype=np.uint8).tobytes()
    text = text_of(data)
    assert set(text) <= set(ALPHABET)
    assert len(text) == stored_size(count)
    assert page_scripts.evaluate("(text) => Array.from(bytesOf(text))", text) == list(data)


@pytest.fixture
def banks_of(make_board, memory):
    """A board of 16 banks with 1,024 words each, its memory so wide."""

    def make(width):
        lines = ["b0-b1", "g0-g1", "r0-r1"] + ["-"] * (width - 6)
        part = Part(number="own", words=1 << 14, width=width)
        return make_board(memory(address=["x5-x9", "y4-y8", "bank0-bank3"], data=lines, part=part))

    return make


@pytest.mark.parametrize("width", [6, 8, 12, 16, 24, 32])
def test_words_of_any_width_come_back_equal_pages_once(banks_of, page_scripts, width):
    board = banks_of(width)
    (memory,) = board.memories
    rng = np.random.default_rng(width)
    pages = rng.integers(0, 1 << width, (16, 1024)).astype(dtype_of(width))
    pages[3:7] = pages[2]
    pages[8] = pages[7]
    pages[8, :100] ^= 1  # told by its difference to the one before
    pages[15] = memory.fill_word
    stored = stored_words(board, memory, pages.ravel())
    assert (stored["page"], len(stored["contents"])) == (page_size(board, memory), 12) == (1024, 12)
    assert stored["order"][2:7] == [2] * 5
    assert stored["bases"] == [-1, -1, -1, -1, 3, *[-1] * 7]
    assert len(stored["contents"][4]) < len(stored["contents"][3]) / 3
    shape = {"words": memory.words, "width": width}
    assert page_scripts.evaluate(UNPACK, [shape, stored]) == pages.ravel().tolist()


def test_a_page_is_what_no_bank_line_divides_but_not_tiny(make_board, memory):
    def size(*address):
        board = make_board(memory(address=list(address), data=["b0-b1", "g0-g1", "r0-r1"]))
        return page_size(board, board.memories[0])

    assert size("x2-x9", "y2-y8", "bank0-bank1") == 1 << 15
    assert size("x2-x9", "y2-y8", "bank1", "bank0^y0") == 1 << 15
    assert size("bank0", "x2-x9", "y2-y8", "low") == 1024
    assert size("x2-x9", "y2-y8", "low", "low") == 1 << 17
