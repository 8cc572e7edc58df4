"""Keys of a board's table that exclude or need each other."""

from collections.abc import Iterator, Mapping
from fractions import Fraction
from typing import Any

from pydantic import TypeAdapter, ValidationError

from ladderlight.board.model.ladder import GUNS
from ladderlight.errors import Problem
from ladderlight.recipe.language.tables import OWN_PART
from ladderlight.recipe.language.values import LARGEST_MEMORY, Words, WordWidth
from ladderlight.recipe.source.problems import Where, listed
from ladderlight.units.arrays import bytes_per_word
from ladderlight.units.words import joined

_Found = tuple[Where, str, str]  # where, what is wrong, and what to do


def contradictions(raw: Mapping[str, Any]) -> Iterator[Problem]:
    """Compare the keys of a board's table as it was read, right or wrong; ``where`` is relative to the table."""
    found: list[_Found] = []
    for index, memory in enumerate(listed(raw, "memory")):
        found += _size(memory, ("memory", index)) if isinstance(memory, dict) else ()
    found += _channels(ladder) if isinstance(ladder := raw.get("ladder"), dict) else ()
    return (Problem(where=where, what=what, action=action) for where, what, action in found)


def _size(memory: Mapping[str, Any], where: Where) -> Iterator[_Found]:
    name = f"memory {memory['name']!r}" if isinstance(memory.get("name"), str) else "the memory"
    given = [key for key in ("words", "width") if key in memory]
    if "part" in memory:
        given = [key for key in OWN_PART if key in memory]
        for key in given:
            action = f"a part has its own; leave out part, or {' and '.join(given)}"
            yield (*where, key), f"{name} has both part and {key}", action
    elif not given:
        yield where, f"{name} lacks its part", 'add part = "27C010" or the like, or words and width'
    elif len(given) == 1:
        action = "add width = 8 or the like" if given == ["words"] else "add words = 131072 or the like"
        yield (*where, given[0]), f"{name} has {given[0]} alone", action
    else:
        yield from _bytes(memory, (*where, "words"))
    if "page" in memory and "part" not in memory and memory.get("erasure") not in ("bytes", "sectors"):
        action = 'add erasure = "sectors" or erasure = "bytes", or leave out page'
        yield (*where, "page"), f"{name} has a page, but is not erased by bytes or sectors", action


def _bytes(memory: Mapping[str, Any], where: Where) -> Iterator[_Found]:
    """Yield a problem when a capacity in bytes is not a power of two in words of the memory's width."""
    try:
        size = Fraction(TypeAdapter(Words).validate_python(memory["words"]))
        width = TypeAdapter(WordWidth).validate_python(memory["width"], strict=True)
    except ValidationError:  # which the tables report
        return
    if not isinstance(memory["words"], str):
        return
    each = bytes_per_word(width)
    words = size / each
    if words.denominator == 1 and 2 <= words <= LARGEST_MEMORY and int(words).bit_count() == 1:
        return
    fitting = [1 << power for power in range(1, LARGEST_MEMORY.bit_length())]
    below, above = (
        max((n for n in fitting if n <= words), default=0),
        min((n for n in fitting if n >= words), default=0),
    )
    sizes = [f'"{n * each // 1024} KiB"' if n >= 1024 else f'"{n * each} B"' for n in (below, above) if n]
    what = f"words is {memory['words']!r}, which is not a power of two in words of {width} bits"
    yield where, f"{what}, {each} byte{'s' * (each > 1)} each", f"use {joined(sizes, 'or')}"


def _channels(ladder: Mapping[str, Any]) -> Iterator[_Found]:
    guns = [gun for gun in GUNS if gun in ladder]
    if "grey" in ladder and guns:
        what = f"grey feeds all three guns, but there is {joined(guns)} as well"
        yield ("ladder", "grey"), what, "keep grey alone, or red, green and blue"
    if "grey" not in ladder and not guns:
        yield ("ladder",), "the ladder has no channel", "add red, green and blue, or grey"
