"""Validation through pydantic models, with its errors in plain words.

A stage's options become a model through :func:`model_of_options`; :func:`problems_of` translates the errors of any
model, that of a recipe included. pydantic is imported only when something is validated.
"""

from __future__ import annotations

import json
import re
import typing
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from functools import partial
from itertools import takewhile
from typing import TYPE_CHECKING, Annotated, Any

from ladderlight.errors import Problem, nearest_word
from ladderlight.stages.annotations import (
    Measured,
    Where,
    annotation_at,
    core_of,
    described,
    example_of,
    inside,
    is_union,
    keys_of,
    members_of,
    moves,
    unknown_key_hint,
    wanted,
)
from ladderlight.units.parsing import DATE, MisfitError, named, quantity, unit_of

if TYPE_CHECKING:
    from pydantic import BaseModel, TypeAdapter, ValidationError
    from pydantic_core import ErrorDetails

    from ladderlight.stages.contract import Option
    from ladderlight.stages.declaration import StageDeclaration


class KeyName(str):
    """Last part of a ``where`` that means the key itself and not its value."""

    __slots__ = ()


def as_json(raw: object) -> str:
    """Write a TOML value as JSON for a strict model. A date becomes something that no field takes for a text."""
    return json.dumps(raw, default=lambda value: {DATE: str(value)})


def model_of_options(declaration: StageDeclaration) -> type[BaseModel]:
    """Make the model of a stage's options: frozen, unknown keys forbidden, strict types, limits and units."""
    from pydantic import ConfigDict, Field, create_model

    fields: dict[str, Any] = {
        each.name: (
            _limited(each.annotation, each.option),
            Field(... if each.required else each.default, description=each.option.help or None),
        )
        for each in declaration.options
    }
    return create_model(
        declaration.name,
        __config__=ConfigDict(frozen=True, extra="forbid", strict=True, protected_namespaces=()),
        **fields,
    )


def problems_of(error: ValidationError, model: type[BaseModel], owner: str = "", where: Where = ()) -> list[Problem]:
    """Translate the errors of a model into plain words.

    ``owner`` is what the values belong to, such as ``"stage 'crop'"``, and is named in each problem; ``where`` is the
    path of the validated table, with which the problems' paths start.
    """
    details = _counted_once(_without_echoes(error.errors(include_url=False), model))
    inner = {tuple(detail["loc"][:end]) for detail in details for end in range(len(detail["loc"]))}
    return [
        _problem(detail, model, owner, where)
        for detail in details
        # pydantic counts only the good entries of a list; with bad ones in it the count means nothing.
        if detail["type"] not in ("too_short", "too_long") or tuple(detail["loc"]) not in inner
    ]


def _without_echoes(details: Sequence[ErrorDetails], model: type[BaseModel]) -> list[ErrorDetails]:
    """Leave out missing keys that are there, but misspelt."""
    misspelt = set()
    for detail in details:
        *table, key = detail["loc"] or ("",)
        if detail["type"] == "extra_forbidden":
            near = get_close_matches(str(key), keys_of(annotation_at(model, tuple(table))), n=1, cutoff=0.6)
            misspelt |= {(*table, name) for name in near}
    return [detail for detail in details if detail["type"] != "missing" or tuple(detail["loc"]) not in misspelt]


def _counted_once(details: Sequence[ErrorDetails]) -> list[ErrorDetails]:
    """Of a list that is too short for its fixed length keep only that: pydantic names every entry that is missing."""
    firsts: dict[Where, ErrorDetails] = {}
    for detail in details:
        if detail["type"] == "missing" and isinstance(detail["loc"][-1], int):
            firsts.setdefault(tuple(detail["loc"][:-1]), detail)
    return [
        detail
        for detail in details
        if all(detail is first or detail["loc"][: len(place)] != place for place, first in firsts.items())
    ]


def _limited(annotation: Any, option: Option) -> Any:
    """Put an option's limits and unit on every number, and its fields on every text, inside its annotation."""
    from pydantic import AfterValidator, BeforeValidator, ConfigDict, Field, TypeAdapter, WithJsonSchema, WrapValidator

    arguments = typing.get_args(annotation)
    if annotation in (int, float):
        finite = {"allow_inf_nan": False} if annotation is float else {}
        limited = Annotated[annotation, Field(ge=option.minimum, le=option.maximum, **finite)]
        if option.unit is None:
            return limited
        read = partial(_quantity, unit=option.unit, whole=annotation is int)
        schema = {"type": ["number", "string"], "examples": [unit_of(option.unit).example.strip('"')]}
        return Annotated[limited, BeforeValidator(read), WithJsonSchema(schema), Measured(option.unit)]
    if annotation is str and option.fields:
        return Annotated[annotation, AfterValidator(partial(_known_fields, fields=option.fields))]
    if typing.get_origin(annotation) is typing.Literal:
        takes_boolean = any(isinstance(argument, bool) for argument in arguments)
        return annotation if takes_boolean else Annotated[annotation, BeforeValidator(refuse_boolean)]
    if is_union(annotation):
        members = [_limited(member, option) for member in arguments if member is not type(None)]
        joined: Any = typing.Union.__getitem__(tuple(members))
        if len(members) > 1:
            text = " or ".join(wanted(member) for member in members)
            adapter: TypeAdapter[object] = TypeAdapter(joined, config=ConfigDict(strict=True))
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


def _known_fields(text: str, *, fields: Sequence[str]) -> str:
    for found in re.finditer(r"\{([^{}]*)\}", text):
        if (name := found[1]) not in fields:
            raise MisfitError(f"is {text!r}, and there is no field {{{name}}}", nearest_word(name, fields))
    return text


def _one_of(value: object, _handler: object, *, adapter: TypeAdapter[object], text: str) -> object:
    from pydantic import ValidationError

    try:
        checked: object = adapter.validate_json(as_json(value))
    except ValidationError:
        raise MisfitError(f"is {_with_type(value)}", f"use {text}") from None
    return checked


def _problem(detail: ErrorDetails, model: type[BaseModel], owner: str, where: Where) -> Problem:
    place: Where = tuple(detail["loc"])
    if place and place[-1] == "[key]":
        place = (*place[:-2], KeyName(place[-2]))
    kind, prefix = detail["type"], f"{owner}: " if owner else ""
    noun = "option" if owner.startswith("stage ") else "key"
    above, key = place[:-1], str(place[-1]) if place else ""
    table, around = (*where, *above), annotation_at(model, above)
    if kind == "extra_forbidden":
        hint = nearest_word(key, keys_of(around))
        if not hint.startswith("did you mean"):
            hint = unknown_key_hint(around) or " or ".join(moves(model, key, detail["input"])) or hint
        what = f"{_table(owner, where, above)} has no {noun} {key!r}"
        return Problem(where=(*table, KeyName(key)), what=what, action=hint)
    if kind == "missing" and isinstance(place[-1], int):
        what = f"{prefix}{_label(table)} has {_entries(place[-1])}"
        return Problem(where=table, what=what, action=f"use {wanted(around)}")
    if kind == "missing":
        what = f"{_table(owner, where, above)} lacks the {noun} {key!r}"
        return Problem(where=table, what=what, action=f"add {example_of(around, key)}")
    what, action = _complaint(detail, annotation_at(model, place))
    label = f"key {key!r}" if place and isinstance(place[-1], KeyName) else _label((*where, *place))
    return Problem(where=(*where, *place), what=f"{prefix}{label} {what}", action=action)


def _complaint(detail: ErrorDetails, annotation: object) -> tuple[str, str]:
    """Return what is wrong with a value, and what to do."""
    value: object = detail["input"]
    kind, context, use = detail["type"], detail.get("ctx", {}), f"use {wanted(annotation)}"
    cause: object = context.get("error")
    if isinstance(cause, MisfitError):
        return cause.what, cause.action or use
    if found := _brackets(detail, annotation):
        return found
    if named(value) == DATE:
        return f"is {DATE}", use
    if kind == "literal_error":
        return _choice(value, annotation, use)
    if kind == "string_too_short" and not value:
        return "is empty", use
    if kind in ("too_short", "too_long"):
        is_fixed = use.startswith("use a list of ")
        return f"has {_entries(context['actual_length'])}", use if is_fixed else _length_action(context)
    if kind.endswith("_type"):
        return _type(value, kind, use)
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal", "finite_number"):
        return f"is {named(value)}, which is out of range", use
    return f"is {named(value)}{f': {cause}' if cause else ', which is of no use here'}", use


def _brackets(detail: ErrorDetails, annotation: object) -> tuple[str, str] | None:
    """Return a table in place of a list of tables, the other way round, or another value in place of either."""
    value: object = detail["input"]
    is_list = detail["type"] in ("list_type", "tuple_type")
    heading = "[{}]".format(".".join(str(part) for part in detail["loc"] if isinstance(part, str)))
    of_tables = is_list and bool(keys_of(inside(annotation, 0)))
    if isinstance(value, dict) and of_tables:
        return "is a single table", f"write [{heading}]"
    if isinstance(value, list) and value and isinstance(value[0], dict) and keys_of(annotation):
        return "is a list of tables", f"write {heading}"
    if of_tables and isinstance(value, str) and str in members_of(core_of(inside(annotation, 0))):
        return None
    entry = detail["type"] == "model_type" and isinstance(detail["loc"][-1], int)
    if (entry or of_tables) and named(value) != DATE:
        return f"is {_with_type(value)}", f"write [{heading}] and its keys below"
    return None


def _choice(value: object, annotation: object, use: str) -> tuple[str, str]:
    known: list[object] = [item for item in typing.get_args(core_of(annotation)) if not isinstance(item, bool)]
    words = [item for item in known if isinstance(item, str)]
    if not isinstance(value, str) or len(words) < len(known):
        return f"is {named(value)}", use
    hint = nearest_word(value, words)
    meanings = described(annotation)
    return f"is {value!r}, which is not known", f"use {meanings}" if meanings and not hint.endswith("?") else hint


def _type(value: object, kind: str, use: str) -> tuple[str, str]:
    if isinstance(value, bool) and kind in ("int_type", "float_type"):
        return f"is {named(value)}, not a number", use
    if kind == "string_type" and isinstance(value, int) and not isinstance(value, bool):
        return f"is the number {value!r}", f'put it in quotes: "{value}"'
    if kind in ("list_type", "tuple_type") and isinstance(value, str):
        return f"is the text {value!r}", f'put it in brackets: ["{value}"]'
    return f"is {_with_type(value)}", use


def _entries(count: int) -> str:
    return f"{count} {'entry' if count == 1 else 'entries'}"


def _length_action(context: Mapping[str, object]) -> str:
    low, high = context.get("min_length"), context.get("max_length")
    return f"give {low} or more" if high is None else f"give {high}" if low in (None, high) else f"give {low} to {high}"


def _with_type(value: object) -> str:
    if isinstance(value, str):
        return f"the text {value!r}"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return named(value)
    return f"the number {value!r}"


def _table(owner: str, where: Where, place: Where) -> str:
    """Return the name of a table as a recipe writes its heading."""
    if owner:
        return owner if not place else f"{owner}: {'.'.join(map(str, place))}"
    path = (*where, *place)
    heading = ".".join(str(part) for part in path if isinstance(part, str))
    if not heading:
        return "the recipe"
    return f"[[{heading}]]" if isinstance(path[-1], int) else f"[{heading}]"


def _label(where: Where) -> str:
    """Return the name of a value: its key, or the entry of a list."""
    key = next((part for part in reversed(where) if isinstance(part, str)), "it")
    entries = list(takewhile(lambda part: isinstance(part, int), reversed(where)))
    return " of ".join([*(f"entry {int(entry) + 1}" for entry in entries), key])
