"""Validation through pydantic models, with its errors in plain words.

A stage's options become a model through :func:`model_of_options`; :func:`problems_of` translates the errors of any
model, that of a recipe included. pydantic is imported only when something is validated.
"""

from __future__ import annotations

import json
import re
import types
import typing
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import partial
from itertools import takewhile
from typing import TYPE_CHECKING, Annotated, Any

from ladderlight.errors import Problem, nearest_word
from ladderlight.units import MisfitError, named, quantity, unit_of

if TYPE_CHECKING:
    from pydantic import BaseModel, TypeAdapter, ValidationError
    from pydantic_core import ErrorDetails

    from ladderlight.stages import Option, OptionDeclaration, StageDeclaration

Where = tuple[str | int, ...]
_DATE = "a date or time"


@dataclass(frozen=True)
class Described:
    """Put on a field's annotation: what it takes, in words."""

    text: str


@dataclass(frozen=True)
class Example:
    """Put on the annotation of a required key: what to add when it is missing."""

    text: str


@dataclass(frozen=True)
class _Measured:
    """Put on a number's annotation: the unit it may be given in."""

    unit: str


class KeyName(str):
    """Last part of a ``where`` that means the key itself and not its value."""

    __slots__ = ()


def as_json(raw: object) -> str:
    """Write a TOML value as JSON for a strict model. A date becomes something that no field takes for a text."""
    return json.dumps(raw, default=lambda value: {_DATE: str(value)})


def model_of_options(declaration: StageDeclaration) -> type[BaseModel]:
    """Make the model of a stage's options: frozen, unknown keys forbidden, strict types, limits and units."""
    from pydantic import ConfigDict, create_model

    fields: dict[str, Any] = {option.name: _field(option) for option in declaration.options}
    return create_model(
        declaration.name,
        __config__=ConfigDict(frozen=True, extra="forbid", strict=True, protected_namespaces=()),
        **fields,
    )


def problems_of(error: ValidationError, model: type[BaseModel], owner: str = "", where: Where = ()) -> list[Problem]:
    """Translate the errors of a model into plain words.

    Parameters
    ----------
    error, model
        The error and the model that raised it.
    owner
        What the values belong to, such as ``"stage 'crop'"``; named in each problem.
    where
        Path of the validated table; the problems' paths start with it.
    """
    details = _without_echoes(error.errors(include_url=False), model)
    inner = {tuple(detail["loc"][:end]) for detail in details for end in range(len(detail["loc"]))}
    return [
        _problem(detail, model, owner, where)
        for detail in details
        # pydantic counts only the good entries of a list; with bad ones in it the count says nothing.
        if detail["type"] not in ("too_short", "too_long") or tuple(detail["loc"]) not in inner
    ]


def _without_echoes(details: Sequence[ErrorDetails], model: type[BaseModel]) -> list[ErrorDetails]:
    """Leave out missing keys that are there, but misspelt."""
    misspelt = set()
    for detail in details:
        *table, key = detail["loc"] or ("",)
        if detail["type"] == "extra_forbidden":
            near = get_close_matches(str(key), _keys_of(_annotation_at(model, tuple(table))), n=1, cutoff=0.6)
            misspelt |= {(*table, name) for name in near}
    return [detail for detail in details if detail["type"] != "missing" or tuple(detail["loc"]) not in misspelt]


def _field(declared: OptionDeclaration) -> tuple[Any, Any]:
    from pydantic import Field

    annotation = _limited(declared.annotation, declared.option)
    default = ... if declared.required else declared.default
    return annotation, Field(default, description=declared.option.help or None)


def _limited(annotation: Any, option: Option) -> Any:
    """Put an option's limits and unit on every number inside its annotation."""
    from pydantic import BeforeValidator, ConfigDict, Field, TypeAdapter, WithJsonSchema, WrapValidator

    arguments = typing.get_args(annotation)
    if annotation in (int, float):
        finite = {"allow_inf_nan": False} if annotation is float else {}
        limited = Annotated[annotation, Field(ge=option.minimum, le=option.maximum, **finite)]
        if option.unit is None:
            return limited
        read = partial(_quantity, unit=option.unit, whole=annotation is int)
        schema = {"type": ["number", "string"], "examples": [unit_of(option.unit).example.strip('"')]}
        return Annotated[limited, BeforeValidator(read), WithJsonSchema(schema), _Measured(option.unit)]
    if typing.get_origin(annotation) is typing.Literal:
        return (
            annotation
            if any(isinstance(a, bool) for a in arguments)
            else Annotated[annotation, BeforeValidator(refuse_boolean)]
        )
    if _is_union(annotation):
        members = [_limited(member, option) for member in arguments if member is not type(None)]
        joined: Any = typing.Union.__getitem__(tuple(members))
        if len(members) > 1:
            text = " or ".join(_expected(member) for member in members)
            adapter: TypeAdapter[Any] = TypeAdapter(joined, config=ConfigDict(strict=True))
            joined = Annotated[joined, WrapValidator(partial(_one_of, adapter=adapter, text=text))]
        return joined | None if type(None) in arguments else joined
    origin = typing.get_origin(annotation)
    if origin in (list, tuple, Sequence, dict, Mapping):
        inner = origin[tuple(item if item is Ellipsis else _limited(item, option) for item in arguments)]
        # A list of the recipe is taken for a tuple; what is in it stays strict.
        return Annotated[inner, Field(strict=False)] if origin is tuple else inner
    return annotation


def refuse_boolean(value: object) -> object:
    """Refuse true where one of some numbers is meant; to Python it equals 1."""
    if isinstance(value, bool):
        raise MisfitError(f"is {named(value)}", "")
    return value


def _quantity(value: object, *, unit: str, whole: bool) -> float:
    read = quantity(value, unit)
    return int(read) if whole and read.is_integer() else read


def _one_of(value: object, _handler: object, *, adapter: TypeAdapter[Any], text: str) -> Any:
    from pydantic import ValidationError

    try:
        return adapter.validate_json(as_json(value))
    except ValidationError:
        raise MisfitError(f"is {_with_type(value)}", f"use {text}") from None


def _problem(detail: ErrorDetails, model: type[BaseModel], owner: str, where: Where) -> Problem:
    place: Where = tuple(detail["loc"])
    if place and place[-1] == "[key]":
        place = (*place[:-2], KeyName(place[-2]))
    kind = detail["type"]
    prefix = f"{owner}: " if owner else ""
    if kind == "extra_forbidden":
        known = _keys_of(_annotation_at(model, place[:-1]))
        key = str(place[-1])
        hint = nearest_word(key, known)
        if not hint.startswith("did you mean"):
            hint = next((_move(key, home, detail["input"]) for home in _homes(model, key)), hint)
        return Problem(
            where=(*where, *place[:-1], KeyName(key)),
            what=f"{_table(owner, where, place[:-1])} has no {_noun(owner)} {key!r}",
            action=hint,
        )
    if kind == "missing" and isinstance(place[-1], int):
        expected = _expected(_annotation_at(model, place[:-1]))
        what = f"{prefix}{_label((*where, *place[:-1]))} has {place[-1]} entries"
        return Problem(where=(*where, *place[:-1]), what=what, action=f"use {expected}")
    if kind == "missing":
        example = _example(_annotation_at(model, place[:-1]), str(place[-1]))
        return Problem(
            where=(*where, *place[:-1]),
            what=f"{_table(owner, where, place[:-1])} lacks the {_noun(owner)} {str(place[-1])!r}",
            action=f"add {example}",
        )
    what, action = _complaint(detail, _annotation_at(model, place))
    label = f"key {str(place[-1])!r}" if place and isinstance(place[-1], KeyName) else _label((*where, *place))
    return Problem(where=(*where, *place), what=f"{prefix}{label} {what}", action=action)


def _complaint(detail: ErrorDetails, annotation: Any) -> tuple[str, str]:
    """Say what is wrong with a value, and what to do."""
    kind, value, context = detail["type"], detail["input"], detail.get("ctx", {})
    cause = context.get("error")
    expected = _expected(annotation)
    if isinstance(cause, MisfitError):
        return cause.what, cause.action or f"use {expected}"
    heading = "[{}]".format(".".join(str(part) for part in detail["loc"] if isinstance(part, str)))
    if isinstance(value, dict) and kind in ("list_type", "tuple_type") and _keys_of(_inside(annotation, 0)):
        return "is a single table", f"write [{heading}]"
    if isinstance(value, list) and value and isinstance(value[0], dict) and _keys_of(annotation):
        return "is a list of tables", f"write {heading}"
    if isinstance(value, dict) and set(value) == {_DATE}:
        return f"is {_DATE}", f"use {expected}"
    if kind == "literal_error":
        known = [item for item in typing.get_args(_bare(annotation)) if not isinstance(item, bool)]
        if isinstance(value, str) and all(isinstance(item, str) for item in known):
            return f"is {value!r}, which is not known", nearest_word(value, known)
        return f"is {named(value)}", f"use {expected}"
    if kind in ("too_short", "too_long") and expected.startswith("a list of "):
        return f"has {context['actual_length']} entries", f"use {expected}"
    if kind in ("too_short", "too_long"):
        return f"has {context['actual_length']} entries", _length_action(context)
    if kind == "string_too_short" and not value:
        return "is empty", f"use {expected}"
    if isinstance(value, bool) and kind in ("int_type", "float_type"):
        return f"is {named(value)} where a number is meant", f"use {expected}"
    if kind == "string_type" and isinstance(value, int | float) and not isinstance(value, bool):
        return f"is the number {value!r}", f'put it in quotes: "{value}"'
    if kind in ("list_type", "tuple_type") and isinstance(value, str):
        return f"is the text {value!r}", f'put it in brackets: ["{value}"]'
    if kind.endswith("_type"):
        return f"is {_with_type(value)}", f"use {expected}"
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal", "finite_number"):
        return f"is {named(value)}, which is out of range", f"use {expected}"
    return f"is {named(value)}: {detail['msg'][0].lower()}{detail['msg'][1:]}", f"use {expected}"


def _length_action(context: Mapping[str, Any]) -> str:
    low, high = context.get("min_length"), context.get("max_length")
    return f"give {low} or more" if high is None else f"give {high}" if low in (None, high) else f"give {low} to {high}"


def _with_type(value: object) -> str:
    """Show a value so that its type can be seen."""
    if isinstance(value, str):
        return f"the text {value!r}"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return named(value)
    return f"the number {value!r}"


def _table(owner: str, where: Where, place: Where) -> str:
    """Name a table as a recipe writes its heading."""
    if owner:
        return owner if not place else f"{owner}: {'.'.join(map(str, place))}"
    path = (*where, *place)
    heading = ".".join(str(part) for part in path if isinstance(part, str))
    if not heading:
        return "the recipe"
    return f"[[{heading}]]" if isinstance(path[-1], int) else f"[{heading}]"


def _noun(owner: str) -> str:
    return "option" if owner.startswith("stage ") else "key"


def _label(where: Where) -> str:
    """Name a value: its key, or the entry of a list."""
    key = next((part for part in reversed(where) if isinstance(part, str)), "it")
    entries = list(takewhile(lambda part: isinstance(part, int), reversed(where)))
    return " of ".join([*(f"entry {int(entry) + 1}" for entry in entries), key])


def _annotation_at(annotation: Any, place: Where) -> Any:
    """Follow a path of keys and indices through models, tables and lists to the annotation of its end."""
    for part in place:
        annotation = _inside(annotation, part)
    return annotation


def _inside(annotation: Any, part: str | int) -> Any:
    bare = _bare(annotation)
    if isinstance(part, str):
        for member in _members(bare):
            fields = getattr(member, "model_fields", {})
            if part in fields:
                field = fields[part]
                return Annotated[field.annotation, *field.metadata] if field.metadata else field.annotation
        tables = [member for member in _members(bare) if typing.get_origin(member) in (dict, Mapping)]
        return typing.get_args(tables[0])[1] if tables else Any
    for member in map(_bare, _members(bare)):
        arguments = typing.get_args(member)
        if typing.get_origin(member) is tuple and Ellipsis not in arguments and part < len(arguments):
            return arguments[part]
        if typing.get_origin(member) in (list, tuple, Sequence) and arguments:
            return arguments[0]
    return Any


def _is_union(annotation: Any) -> bool:
    return typing.get_origin(annotation) in (typing.Union, types.UnionType)


def _bare(annotation: Any) -> Any:
    return _peel(annotation)[0]


def _members(annotation: Any) -> tuple[Any, ...]:
    if not _is_union(annotation):
        return (annotation,)
    return tuple(member for member in typing.get_args(annotation) if member is not type(None))


def _move(key: str, home: str, value: object) -> str:
    """Say in which table a key belongs; of a table, what its heading should be."""
    if isinstance(value, dict):
        return f"write [{home.strip('[]')}.{key}]"
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return f"write [[{home.strip('[]')}.{key}]]"
    return f"it belongs in {home}"


def _homes(annotation: Any, key: str, path: tuple[str, ...] = (), brackets: str = "[{}]") -> Iterator[str]:
    """Yield the headings of the tables that have a key."""
    for member in _members(_bare(annotation)):
        fields = getattr(member, "model_fields", {})
        if key in fields and path:
            yield brackets.format(".".join(path))
        for name in fields:
            inner = _inside(member, name)
            many = typing.get_origin(_bare(inner)) in (list, tuple)
            yield from _homes(_inside(inner, 0) if many else inner, key, (*path, name), "[[{}]]" if many else "[{}]")


def _keys_of(annotation: Any) -> list[str]:
    return [key for member in _members(_bare(annotation)) for key in getattr(member, "model_fields", {})]


def _example(annotation: Any, key: str) -> str:
    """Give what to add for a missing key."""
    inside = _inside(annotation, key)
    example = next((item.text for item in _peel(inside)[1] if isinstance(item, Example)), None)
    return example or f"it: {_expected(inside)}"


_TYPES = {int: "a whole number", float: "a number", str: "a text in quotes", bool: "true or false", dict: "a table"}


def _expected(annotation: Any) -> str:
    """Describe what an annotation takes, with its limits."""
    bare, metadata = _peel(annotation)
    described = next((item for item in metadata if isinstance(item, Described)), None)
    if described:
        return described.text
    origin, arguments = typing.get_origin(bare), typing.get_args(bare)
    if origin is typing.Literal:
        return re.sub(r" or (?=.* or )", ", ", " or ".join(json.dumps(item) for item in arguments))
    if _is_union(bare):
        return " or ".join(map(_expected, _members(bare)))
    if origin in (list, tuple, Sequence):
        items = [item for item in arguments if item is not Ellipsis]
        if origin is tuple and Ellipsis not in arguments:
            alike = len(set(map(_expected, items))) == 1
            return f"a list of {len(items)}" + (
                f", each {_expected(items[0])}" if alike else f": {', '.join(map(_expected, items))}"
            )
        return f"a list, each entry {_expected(items[0])}" if items else "a list"
    if origin in (dict, Mapping) or hasattr(bare, "model_fields"):
        return "a table"
    unit = next((f" in {item.unit}" for item in metadata if isinstance(item, _Measured)), "")
    return _TYPES.get(bare, getattr(bare, "__name__", str(bare))) + _range(metadata) + unit


def _peel(annotation: Any) -> tuple[Any, list[Any]]:
    """Take off what an annotation is annotated with, and the possibility of nothing."""
    metadata: list[Any] = []
    while True:
        if hasattr(annotation, "__metadata__"):
            for item in annotation.__metadata__:
                metadata += [item, *getattr(item, "metadata", ())]
            annotation = annotation.__origin__
        elif _is_union(annotation) and len(_members(annotation)) == 1:
            annotation = _members(annotation)[0]
        else:
            return annotation, metadata


_LIMITS = ("ge", "gt", "le", "lt")


def _range(metadata: Sequence[Any]) -> str:
    limits = {
        name: getattr(item, name) for item in metadata for name in _LIMITS if getattr(item, name, None) is not None
    }
    if "ge" in limits and "le" in limits:
        return f" from {limits['ge']:.12g} to {limits['le']:.12g}"
    words = {"ge": "of {:.12g} or more", "gt": "above {:.12g}", "le": "up to {:.12g}", "lt": "below {:.12g}"}
    text = " and ".join(words[name].format(limit) for name, limit in limits.items())
    return f" {text}" if text else ""
