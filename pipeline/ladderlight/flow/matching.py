"""Patterns by which a recipe names pictures: ``*``, ``?`` and ``[...]``, or a name as it is."""

from collections.abc import Callable, Iterable
from fnmatch import fnmatchcase
from typing import TypeVar

T = TypeVar("T")


def matching(pattern: str, items: Iterable[T], names: Callable[[T], Iterable[str]]) -> list[T]:
    """Return the items that a pattern matches, in their order; ``names`` returns the names of each.

    A name may hold the characters of patterns: an item whose name is the pattern is matched alone.
    """
    named = [(item, tuple(names(item))) for item in items]
    literal = [item for item, known in named if pattern in known]
    return literal or [item for item, known in named if any(fnmatchcase(name, pattern) for name in known)]


def file_name(source: str) -> str:
    """Return the last part of a path with ``/``."""
    return source.rpartition("/")[2]
