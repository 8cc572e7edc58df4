"""No example repeats the values of a board that somebody else has published.

The figures are common practice, no source: 1k5 with 680 ohm for two bits at 5 V into 75 ohm, a clock of 10 MHz at
800x600@60, a picture of 100x75 pixels from seven x and seven y bits of a 28C256.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import tomli

ROOT = Path(__file__).parents[2]
TEXTS = {
    path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8")
    for pattern in (
        "README.md",
        "plugins/README.md",
        "recipes/README.md",
        "recipes/*/recipe.toml",
        "tests/recipes/*/recipe.toml",
        "pipeline/ladderlight/reference/boards/*.toml",
        "pipeline/ladderlight/starter/recipe.toml",
    )
    for path in ROOT.glob(pattern)
}


def boards(text: str) -> list[dict[str, object]]:
    """Return the ``[board]`` tables of a recipe, or of the recipes in a page that can be read alone."""
    found = re.findall(r"^```toml\n(.*?)^```$", text, re.MULTILINE | re.DOTALL) or [text]
    tables = []
    for part in found:
        try:
            tables.append(tomli.loads(part).get("board", {}))
        except tomli.TOMLDecodeError:
            continue  # the page's example of what is wrong
    return [table for table in tables if isinstance(table, dict)]


@pytest.mark.parametrize("name", TEXTS)
def test_no_example_has_the_published_pair_of_resistors(name: str) -> None:
    pair = re.compile(r'"(1k5|1\.5 kohm|1500)"[^}\n]*"680R?"|"680R?"[^}\n]*"(1k5|1\.5 kohm|1500)"')
    assert not pair.search(TEXTS[name])


@pytest.mark.parametrize("name", TEXTS)
def test_no_example_has_the_published_clock_at_its_mode(name: str) -> None:
    assert not any((b.get("mode"), b.get("clock")) == ("800x600@60", "10 MHz") for b in boards(TEXTS[name]))
    assert "100 by 75" not in TEXTS[name]
    assert "100x75" not in TEXTS[name]


@pytest.mark.parametrize("name", TEXTS)
def test_no_example_has_the_published_part(name: str) -> None:
    for board in boards(TEXTS[name]):
        memories = board.get("memory", [])
        assert isinstance(memories, list)
        assert not [memory for memory in memories if memory.get("part") == "28C256"]


def test_there_are_examples_to_look_at() -> None:
    assert len(TEXTS) >= 17
    assert sum(len(boards(text)) > 0 for text in TEXTS.values()) >= 16
