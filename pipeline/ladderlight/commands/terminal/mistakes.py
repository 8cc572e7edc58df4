"""Wrong usage in plain words, made from the declarations of the commands and not from the library's messages."""

import types
import typing
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import typer
from typer.models import ParameterInfo

from ladderlight.errors import Fault, nearest_word

WrongUsage: type[Any] = typer.BadParameter.__bases__[0]
"""The library's exception for a command that is called wrongly."""


Commands = Mapping[str, Callable[..., object]]


def fault_of(error: typer.BadParameter, arguments: Sequence[str], commands: Commands) -> Fault:
    """Return what is wrong with a command line.

    ``error`` is of type :data:`WrongUsage`; ``commands`` are the functions of the commands by name.
    """
    kind = type(error).__name__
    declared = _declared(next((commands[name] for name in arguments if name in commands), None))
    name = str(getattr(error, "option_name", ""))
    if kind == "NoSuchOption":
        return Fault(where=name, message=f"there is no such option; {nearest_word(name, _options(error))}")
    if kind == "BadOptionUsage":
        option = next((option for option in declared.values() if name in option.names), None)
        if option is None or option.flag:
            return Fault(where=name, message="this option takes no value; write it alone")
        return Fault(where=name, message=f"this option needs a value; give {option.wanted}")
    parameter = getattr(error, "param", None)
    if kind in ("MissingParameter", "BadParameter") and parameter is not None:
        option = declared.get(parameter.name)
        is_option = parameter.param_type_name == "option"
        where = parameter.opts[0] if is_option else str(parameter.metavar or parameter.name).upper()
        wanted = option.wanted if option else "another value"
        if kind == "MissingParameter":
            return Fault(where=where, message=f"missing; give {wanted}")
        value = _value(arguments, parameter.opts)
        return Fault(where=where, message=f"{f'{value!r} is not valid' if value else 'not valid'}; give {wanted}")
    said = error.format_message()
    if said.startswith("No such command"):
        command = str(getattr(error, "command_name", None) or said.split("'")[1])
        return Fault(where="", message=f"there is no command {command!r}; {nearest_word(command, commands)}")
    if said.startswith("Got unexpected extra"):
        extra = said.partition("(")[2].removeprefix("s) (").rstrip(")")
        return Fault(where=extra, message="one argument too many; put a name with spaces in quotes")
    return Fault(where="", message=f"{said[:1].lower()}{said[1:].rstrip('.')}")


class _Declared(typing.NamedTuple):
    names: tuple[str, ...]
    flag: bool
    wanted: str


def _declared(command: Callable[..., object] | None) -> dict[str, _Declared]:
    found = {}
    for name, annotation in typing.get_type_hints(command, include_extras=True).items() if command else ():
        if typing.get_origin(annotation) is not typing.Annotated:
            continue
        kind, info = typing.get_args(annotation)
        written: Sequence[str] = getattr(info, "param_decls", None) or (f"--{name.replace('_', '-')}",)
        found[name] = _Declared(
            names=tuple(part for text in written for part in text.split("/")),
            flag=bool in (kind, *typing.get_args(kind)),
            wanted=_wanted(kind, info),
        )
    return found


def _wanted(kind: object, info: ParameterInfo) -> str:
    if typing.get_origin(kind) is types.UnionType:
        kind = next(member for member in typing.get_args(kind) if member is not types.NoneType)
    if typing.get_origin(kind) is typing.Literal:
        return f"one of {', '.join(map(str, typing.get_args(kind)))}"
    if kind in (int, list[int]):
        low, high = info.min, info.max
        if high is not None:
            return f"a whole number from {low} to {high}"
        return "a whole number" if low is None else f"a whole number of {low} or more"
    if kind is Path:
        return "a path"
    return "one or more files" if typing.get_origin(kind) is list else "a text"


def _options(error: typer.BadParameter) -> list[str]:
    if error.ctx is None:
        return []
    options = [name for param in error.ctx.command.params for name in (*param.opts, *param.secondary_opts)]
    return [name for name in (*options, *error.ctx.help_option_names) if name.startswith("-")]


def _value(arguments: Sequence[str], names: Sequence[str]) -> str:
    value = ""
    for at, argument in enumerate(arguments):
        name, given, inline = argument.partition("=")
        if name in names:
            value = inline if given else next(iter(arguments[at + 1 : at + 2]), "")
    return value
