"""The annotations of a pydantic model in words: what a value must be, and where a key belongs.

Nothing of pydantic is needed for it.
"""

from __future__ import annotations

import json
import types
import typing
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

from ladderlight.units.words import joined

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

Where = tuple[str | int, ...]


@dataclass(frozen=True)
class Described:
    """Put on a field's annotation: what it takes, in words."""

    text: str


@dataclass(frozen=True)
class Example:
    """Put on the annotation of a required key: what to add when it is missing."""

    text: str


@dataclass(frozen=True)
class Measured:
    """Put on a number's annotation: the unit it may be given in."""

    unit: str


def annotation_at(annotation: object, place: Where) -> object:
    """Follow a path of keys and indices through models, tables and lists to the annotation of its end."""
    for part in place:
        annotation = inside(annotation, part)
    return annotation


def inside(annotation: object, part: str | int) -> object:
    """Return the annotation of a key of a table, or of an entry of a list; ``Any`` when there is none."""
    core = core_of(annotation)
    if isinstance(part, str):
        for member in members_of(core):
            if field := _fields_of(member).get(part):
                return Annotated[field.annotation, *field.metadata] if field.metadata else field.annotation
        tables = [member for member in members_of(core) if typing.get_origin(member) in (dict, Mapping)]
        return typing.get_args(tables[0])[1] if tables else Any
    for member in map(core_of, members_of(core)):
        arguments = typing.get_args(member)
        if typing.get_origin(member) is tuple and Ellipsis not in arguments and part < len(arguments):
            return arguments[part]
        if typing.get_origin(member) in (list, tuple, Sequence) and arguments:
            return arguments[0]
    return Any


def _fields_of(member: object) -> Mapping[str, FieldInfo]:
    fields: Mapping[str, FieldInfo] = getattr(member, "model_fields", {})
    return fields


def is_union(annotation: object) -> bool:
    """Whether an annotation allows more than one type."""
    return typing.get_origin(annotation) in (typing.Union, types.UnionType)


def core_of(annotation: object) -> object:
    """Return an annotation without its metadata and without None."""
    return _peel(annotation)[0]


def members_of(annotation: object) -> tuple[object, ...]:
    """Return the types that an annotation allows, None left out."""
    if not is_union(annotation):
        return (annotation,)
    return tuple(member for member in typing.get_args(annotation) if member is not type(None))


def moves(model: object, key: str, value: object) -> list[str]:
    """Return the tables in which a key belongs; of a table, the heading that it should have."""
    homes = list(_homes(model, key))
    many = isinstance(value, list) and value and isinstance(value[0], dict)
    tables = [path for path, annotation in homes if keys_of(annotation) or keys_of(inside(annotation, 0))]
    if tables and (many or isinstance(value, dict)):
        heading = f"{'.'.join(tables[0])}.{key}"
        return [f"write [[{heading}]]" if many else f"write [{heading}]"]
    headings = [_heading(model, path) for path, _ in homes]
    return [f"it belongs in {heading}" if not index else heading for index, heading in enumerate(headings)]


def _homes(annotation: object, key: str, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], object]]:
    """Yield the paths of the tables that have a key, and the key's annotation there."""
    for member in members_of(core_of(annotation)):
        fields = _fields_of(member)
        if key in fields and path:
            yield path, inside(member, key)
        for name in fields:
            inner = inside(member, name)
            yield from _homes(inside(inner, 0) if _is_list(inner) else inner, key, (*path, name))


def _heading(annotation: object, path: tuple[str, ...]) -> str:
    for part in path:
        inner = inside(annotation, part)
        many = _is_list(inner)
        annotation = inside(inner, 0) if many else inner
    return f"[[{'.'.join(path)}]]" if many else f"[{'.'.join(path)}]"


def _is_list(annotation: object) -> bool:
    return typing.get_origin(core_of(annotation)) in (list, tuple)


def keys_of(annotation: object) -> list[str]:
    """Return the keys of a table; none for anything else."""
    return [key for member in members_of(core_of(annotation)) for key in _fields_of(member)]


def unknown_key_hint(annotation: object) -> str:
    """Return a table's hint for unknown keys, its ``unknown_key``."""
    hints = (getattr(member, "unknown_key", "") for member in members_of(core_of(annotation)))
    return next(filter(None, hints), "")


def example_of(annotation: object, key: str) -> str:
    """Return what to add for a missing key."""
    value = inside(annotation, key)
    example = next((item.text for item in _peel(value)[1] if isinstance(item, Example)), None)
    return example or f"it: {wanted(value)}"


_TYPES: Mapping[object, str] = {
    int: "a whole number",
    float: "a number",
    str: "a text in quotes",
    bytes: "a file name in quotes",
    bool: "true or false",
    dict: "a table",
}


def described(annotation: object) -> str:
    """Return the text of an annotation's :class:`Described`, or nothing."""
    return next((item.text for item in _peel(annotation)[1] if isinstance(item, Described)), "")


def wanted(annotation: object) -> str:
    """Describe what an annotation takes, with its limits."""
    core, metadata = _peel(annotation)
    if text := described(annotation):
        return text
    origin, arguments = typing.get_origin(core), typing.get_args(core)
    if origin is typing.Literal:
        return joined([json.dumps(item) for item in arguments], "or")
    if is_union(core):
        return " or ".join(map(wanted, members_of(core)))
    if origin in (list, tuple, Sequence):
        items = [item for item in arguments if item is not Ellipsis]
        if origin is tuple and Ellipsis not in arguments:
            words = list(map(wanted, items))
            return f"a list of {len(items)}" + (f", each {words[0]}" if len({*words}) == 1 else f": {', '.join(words)}")
        return f"a list, each entry {wanted(items[0])}" if items else "a list"
    if origin in (dict, Mapping) or hasattr(core, "model_fields"):
        return "a table"
    unit = next((f" in {item.unit}" for item in metadata if isinstance(item, Measured)), "")
    return _TYPES.get(core, getattr(core, "__name__", str(core))) + _range(metadata) + unit


def _peel(annotation: object) -> tuple[object, list[object]]:
    """Return an annotation without its metadata and without None, and that metadata."""
    metadata: list[object] = []
    while True:
        if hasattr(annotation, "__metadata__"):
            for item in annotation.__metadata__:
                metadata += [item, *getattr(item, "metadata", ())]
            annotation = getattr(annotation, "__origin__")  # noqa: B009 - which all with metadata have
        elif is_union(annotation) and len(members_of(annotation)) == 1:
            annotation = members_of(annotation)[0]
        else:
            return annotation, metadata


_LIMITS = ("ge", "gt", "le", "lt")


def _range(metadata: Sequence[object]) -> str:
    limits: dict[str, float] = {
        name: getattr(item, name) for item in metadata for name in _LIMITS if getattr(item, name, None) is not None
    }
    if "ge" in limits and "le" in limits:
        return f" from {limits['ge']:.12g} to {limits['le']:.12g}"
    words = {"ge": "of {:.12g} or more", "gt": "above {:.12g}", "le": "up to {:.12g}", "lt": "below {:.12g}"}
    text = " and ".join(words[name].format(limit) for name, limit in limits.items())
    return f" {text}" if text else ""
