"""Undefined moments as the page's script finds them, against the board at work."""

import base64

import numpy as np
import pytest

from ladderlight.board import Counters
from ladderlight.proof.page.data import board_data
from ladderlight.proof.page.document import joined_scripts

from ....moments import disturbed

DATA = ["b0-b1", "g0-g1", "r0-r1"]
MOMENTS = """([board, texts]) => {
  const words = {};
  for (const [name, text] of Object.entries(texts)) {
    const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
    words[name] = new Uint32Array(bytes.buffer);
  }
  const found = undefinedMoments(board, words, 1);
  let text = "";
  for (let at = 0; at < found.length; at += 4096) text += String.fromCharCode(...found.subarray(at, at + 4096));
  return btoa(text);
}"""


@pytest.fixture
def moments(browser):
    page = browser.new_page()
    page.add_script_tag(content=joined_scripts(("scan", "moments")))
    yield page
    page.close()


@pytest.fixture
def boards(make_board, memory):
    """Boards that wait in every way there is."""
    picture = ["x3-x9", "y4-y8", "bank0"]
    tiles = (
        memory("map", address=["x5-x9", "y5-y8", "bank0"], data=["-"] * 8, part="2764", access=150e-9),
        memory("tiles", address=["x2-x4", "y2-y4", "map.d0-map.d5"], data=DATA, part="2764", access=45e-9),
    )
    registered = (
        memory(
            "map", address=["x5-x9", "y5-y8", "bank0"], data=["-"] * 8, part="2764", access=150e-9, output="register"
        ),
        memory("tiles", address=["x3-x4", "y2-y4", "map.d0-map.d5"], data=DATA, part="2764", access=90e-9),
    )
    return {
        "direct": lambda: make_board(memory(address=picture, data=DATA, access=90e-9)),
        "late": lambda: make_board(
            memory(address=picture, data=DATA, access=90e-9), counters=Counters(delay=30e-9, x_start=3)
        ),
        "too late": lambda: make_board(memory(address=picture, data=DATA, access=400e-9), check=False),
        "slow register": lambda: make_board(
            memory(address=picture, data=DATA, access=400e-9, output="register"), check=False
        ),
        "register": lambda: make_board(memory(address=picture, data=DATA, access=150e-9, output="register")),
        "tiles": lambda: make_board(*tiles),
        "registered tiles": lambda: make_board(*registered),
        "unknown": lambda: make_board(memory(address=picture, data=DATA)),
        "half": lambda: make_board(
            memory(address=["x1-x7", "y3-y8", "bank0"], data=DATA, access=90e-9), clock="12587500"
        ),
    }


NAMES = ("direct", "late", "too late", "slow register", "register", "tiles", "registered tiles", "unknown", "half")


@pytest.mark.parametrize("name", NAMES)
def test_they_are_those_of_the_board_at_work(boards, moments, name):
    board = boards[name]()
    random = np.random.default_rng(3)
    words = {m.name: random.integers(0, 1 << m.part.width, m.words).astype(np.uint32) for m in board.memories}
    for values in words.values():
        values[1::3] = values[::3][: len(values[1::3])]  # here and there nothing changes
    data = board_data(board, {device.name: {"pieces": []} for device in board.devices})
    texts = {name: base64.b64encode(values.tobytes()).decode() for name, values in words.items()}
    found = np.frombuffer(base64.b64decode(moments.evaluate(MOMENTS, [data, texts])), dtype=np.uint8)
    expected = disturbed(board, words, 1)
    assert np.array_equal(found.reshape(expected.shape), expected)
    assert expected.any() == (name not in ("register", "unknown"))
