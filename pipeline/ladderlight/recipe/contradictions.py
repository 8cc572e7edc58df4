"""Keys of a board's table that exclude or need each other."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from ladderlight.board.ladder import GUNS
from ladderlight.board.quantities import joined
from ladderlight.errors import Problem
from ladderlight.recipe.report import Where


def contradictions(raw: Mapping[str, Any]) -> Iterator[Problem]:
    """Compare the keys of a board's table as it was read, right or wrong; ``where`` is relative to the table."""
    memories = raw.get("memory")
    for index, memory in enumerate(memories if isinstance(memories, list) else ()):
        if isinstance(memory, dict):
            yield from _size(memory, ("memory", index))
    ladder = raw.get("ladder")
    if isinstance(ladder, dict):
        yield from _channels(ladder)


def _size(memory: Mapping[str, Any], where: Where) -> Iterator[Problem]:
    name = f"memory {memory['name']!r}" if isinstance(memory.get("name"), str) else "the memory"
    given = [key for key in ("words", "width") if key in memory]
    if "part" in memory:
        for key in given:
            yield Problem(
                where=(*where, key),
                what=f"{name} has both part and {key}",
                action=f"a part has its own; leave out part, or {' and '.join(given)}",
            )
    elif not given:
        yield Problem(
            where=where, what=f"{name} lacks its part", action='add part = "27C010" or the like, or words and width'
        )
    elif len(given) == 1:
        action = "add width = 8 or the like" if given == ["words"] else "add words = 131072 or the like"
        yield Problem(where=(*where, given[0]), what=f"{name} has {given[0]} alone", action=action)


def _channels(ladder: Mapping[str, Any]) -> Iterator[Problem]:
    guns = [gun for gun in GUNS if gun in ladder]
    if "grey" in ladder and guns:
        yield Problem(
            where=("ladder", "grey"),
            what=f"grey feeds all three guns, but there is {joined(guns)} as well",
            action="keep grey alone, or red, green and blue",
        )
    if "grey" not in ladder and not guns:
        yield Problem(where=("ladder",), what="the ladder has no channel", action="add red, green and blue, or grey")
