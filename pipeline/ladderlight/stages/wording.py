"""Stages in the words of a recipe: the types of their options, and their tables as TOML."""

import json
import typing
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from ladderlight.stages.contract import Option
from ladderlight.stages.kinds import Kind

if TYPE_CHECKING:
    from ladderlight.stages.declaration import StageDeclaration


def type_text(annotation: Any, option: Option) -> str:
    """Return the type of an option in words, with its limits and unit."""
    text = _type_words(annotation)
    if option.fields:
        text += f" with {', '.join(f'{{{name}}}' for name in option.fields)}"
    if option.unit:
        text += f" in {option.unit}"
    if option.minimum is not None and option.maximum is not None:
        text += f", {option.minimum:g} to {option.maximum:g}"
    elif option.minimum is not None:
        text += f", {option.minimum:g} or more"
    elif option.maximum is not None:
        text += f", at most {option.maximum:g}"
    return text


_SIMPLE = {int: "whole number", float: "number", str: "text", bytes: "file name", bool: "true or false"}
_NUMBERS = {1: "one", 2: "two", 3: "three", 4: "four"}


def _type_words(annotation: Any) -> str:
    origin, arguments = typing.get_origin(annotation), typing.get_args(annotation)
    if origin is typing.Annotated:
        return _type_words(arguments[0])
    if origin is typing.Literal:
        return ", ".join(json.dumps(value) for value in arguments)
    if origin is tuple and Ellipsis not in arguments:
        if len(set(arguments)) == 1:
            return f"list of {_NUMBERS.get(len(arguments), len(arguments))} {_plural(arguments[0])}"
        return f"list of {', '.join(map(_type_words, arguments))}"
    if origin in (list, tuple, Sequence):
        return f"list of {_plural(arguments[0])}"
    if origin in (dict, Mapping):
        return f"table of {_plural(arguments[1])}"
    if arguments:
        return " or ".join(_type_words(argument) for argument in arguments if argument is not type(None))
    if isinstance(annotation, type) and issubclass(annotation, str) and annotation is not str:
        return annotation.__name__.lower()
    return _SIMPLE.get(annotation, getattr(annotation, "__name__", str(annotation)))


def _plural(annotation: Any) -> str:
    words = _type_words(annotation)
    if annotation in (int, float):
        return f"{words}s"
    return f"lists of {words[8:]}" if words.startswith("list of ") else words


def toml_value(value: Any) -> str:
    """Write a value as TOML: text, a number, true or false, a list, or an inline table."""
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{key} = {toml_value(inner)}' for key, inner in value.items())} }}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml_value, value))}]"
    return json.dumps(value, ensure_ascii=False)


def stage_table(declaration: "StageDeclaration") -> str:
    """Write a stage's example as a recipe's ``[[stage]]`` table, that of a card in ``[pictures]``."""
    options = declaration.example.options
    use = {"use": declaration.name, **options}
    if declaration.kind is Kind.CARD:
        return f"[pictures]\ncards = {toml_value([use if options else declaration.name])}"
    return use_table(use)


def use_table(use: Mapping[str, Any]) -> str:
    """Write a ``[[stage]]`` table, ``use`` included."""
    return "\n".join(["[[stage]]", *(f"{key} = {toml_value(value)}" for key, value in use.items())])
