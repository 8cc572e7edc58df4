"""The types of stages' options, in the words of a recipe's author."""

from __future__ import annotations

import json
import typing
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ladderlight.stages.contract import Option


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
    return (
        f"{words}s"
        if annotation in (int, float)
        else f"lists of {words[8:]}"
        if words.startswith("list of ")
        else words
    )
