"""The declaration of a stage: all that the engine needs to know of it, read off a marked function."""

from __future__ import annotations

import inspect
import typing
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from types import NoneType
from typing import TYPE_CHECKING, Any

from ladderlight.colour.viewing import Viewing
from ladderlight.errors import PluginError, Problem
from ladderlight.stages.contract import Demand, Example, Kept, Mark, Option, Survey, mark_of
from ladderlight.stages.kinds import Kind, flow_type, kind_of, kinds_in_words
from ladderlight.stages.wording import type_text
from ladderlight.system.frozen import Frozen
from ladderlight.system.value import Value

if TYPE_CHECKING:
    from pydantic import BaseModel

    from ladderlight.board import Board
    from ladderlight.flow.pictures import Origin

_INJECTED = ("Board", "Viewing", "Demand", "Survey", "Kept", "Origin")
_HOOK_INJECTED = ("Board", "Viewing")
_DEFAULTS = {"Viewing": Viewing, "Demand": Demand, "Survey": Survey, "Kept": Kept, "Origin": NoneType}
_HOOK_VALUES = {"rule": 2, "probe": 2, "demand": 3, "survey": 2, "animation": 1, "capacity": 3, "advice": 3}
"""How many values each hook is given before those that its signature adds."""


def qualified_name(plugin: str, stage: str) -> str:
    """Return the name ``plugin.stage``; a project's own file counts without its ending."""
    return f"{plugin.removesuffix('.py')}.{stage}"


class OptionDeclaration(Frozen):
    """One option of a stage, as its annotation declares it."""

    name: str
    annotation: Any
    default: Any
    required: bool
    option: Option

    @property
    def type_text(self) -> str:
        """The type as a recipe's author reads it, with its limits and unit."""
        return type_text(self.annotation, self.option)


@dataclass(frozen=True)
class PluginFile:
    """A project's own Python file, as it was when it was loaded."""

    path: Path
    source: bytes = field(repr=False)
    home: str = ""
    """Where it lies on the machine that read the recipe, if that is elsewhere."""


class StageDeclaration(Value):
    """All that the engine needs to know of one stage. It is compared and pickled by plugin, name, and plugin file."""

    name: str
    kind: Kind = field(compare=False)
    help: str = field(compare=False)
    options: tuple[OptionDeclaration, ...] = field(compare=False)
    function: Callable[..., Any] = field(compare=False)
    takes: tuple[str, ...] = field(compare=False)
    """What the stage takes beside its flow value, by the names of their types, in order."""
    hooks: Mapping[str, Callable[..., Any]] = field(compare=False)
    hooks_take: Mapping[str, tuple[str, ...]] = field(compare=False)
    """What each hook takes beside its own values, in the same way."""
    needs_pictures: bool = field(default=True, compare=False)
    example: Example = field(default_factory=Example, compare=False)
    plugin: str = ""
    file: PluginFile | None = None
    """The project's own file that declares it; None for a stage of an installed plugin."""

    def __reduce__(self) -> tuple[Any, ...]:
        """Return the reference, by which another process loads the stage again."""
        from ladderlight.stages.registry import declared

        return declared, (self.plugin, self.name, self.file)

    @property
    def qualified(self) -> str:
        """How a recipe names this stage where another plugin has one of its name."""
        return qualified_name(self.plugin, self.name)

    @cached_property
    def model(self) -> type[BaseModel]:
        """The options as a pydantic model: unknown keys forbidden, strict types, limits and units."""
        from ladderlight.stages.validation import model_of_options

        return model_of_options(self)

    def check(self, raw: Mapping[str, Any]) -> tuple[dict[str, Any], list[Problem]]:
        """Validate options as a recipe gives them.

        Returns the values of the given options, defaults left out, and the problems with ``where`` relative to the
        stage's table.
        """
        if not raw and not any(option.required for option in self.options):  # a model takes longer to make than to use
            return {}, []
        from pydantic import ValidationError

        from ladderlight.stages.validation import as_json, problems_of

        try:
            checked = self.model.model_validate_json(as_json(dict(raw)), strict=True)
        except ValidationError as error:
            return {}, problems_of(error, self.model, owner=f"stage {self.name!r}")
        return {name: getattr(checked, name) for name in checked.model_fields_set}, []

    def complete(self, options: Mapping[str, Any]) -> dict[str, Any]:
        """Return all options: those given, and the defaults of the others."""
        return {option.name: option.default for option in self.options if not option.required} | dict(options)

    def run(
        self,
        value: Any,
        board: Board,
        options: Mapping[str, Any],
        *,
        viewing: Viewing | None = None,
        demand: Demand | None = None,
        survey: Survey | None = None,
        kept: Kept | None = None,
        origin: Origin | None = None,
    ) -> Any:
        """Call the stage with its flow value, what else its signature names, and its options."""
        given = {"Board": board, "Viewing": viewing, "Demand": demand, "Survey": survey, "Kept": kept, "Origin": origin}
        return self.function(value, *[given[name] or _DEFAULTS[name]() for name in self.takes], **options)

    def call_hook(self, name: str, *values: Any, board: Board, viewing: Viewing | None = None) -> Any:
        """Call a hook that the stage has with its values, and what else its signature names."""
        given = {"Board": board, "Viewing": viewing or Viewing()}
        return self.hooks[name](*values, *(given[kind] for kind in self.hooks_take[name]))


def declaration_of(function: Callable[..., Any], *, plugin: str = "") -> StageDeclaration:
    """Read a stage's declaration off its annotations.

    Raises PluginError when the function is not a stage, an annotation cannot be resolved, or the signature is not one
    of the kinds.
    """
    name = getattr(function, "__name__", repr(function))
    mark = mark_of(function)
    label = f"stage {name!r}" + (f" of plugin {plugin!r}" if plugin else "")
    if mark is None:
        raise PluginError(f"{label}: not a stage; mark the function with @stage(help=...)")
    hints = _hints(function, label)
    parameters = list(inspect.signature(function).parameters.values())
    for parameter in parameters:
        if parameter.kind in (parameter.VAR_KEYWORD, parameter.VAR_POSITIONAL):
            raise PluginError(f"{label}: '{parameter}' would swallow mistakes; name each option")
        if parameter.name not in hints:
            raise PluginError(f"{label}: parameter {parameter.name!r} has no annotation; add one")
    types = [flow_type(hints[p.name]) for p in parameters if p.kind is not p.KEYWORD_ONLY]
    kind = kind_of(types[0] if types else "", flow_type(hints.get("return")))
    if kind is None or any(text not in _INJECTED for text in types[1:]):
        raise PluginError(f"{label}: its parameters and result are of no known kind; {kinds_in_words()}")
    wrong = _misplaced(mark, kind, types[1:])
    if wrong:
        raise PluginError(f"{label}: {wrong}")
    return StageDeclaration(
        name=name,
        kind=kind,
        help=mark.help,
        options=tuple(_option(p, hints[p.name]) for p in parameters if p.kind is p.KEYWORD_ONLY),
        function=function,
        takes=tuple(types[1:]),
        hooks=mark.hooks,
        hooks_take={hook: _taken(rule, hook, f"the {hook} of {label}") for hook, rule in mark.hooks.items()},
        needs_pictures=mark.needs_pictures,
        example=mark.example,
        plugin=plugin,
    )


def _misplaced(mark: Mark, kind: Kind, takes: list[str]) -> str:
    """Return the fault of a hook or parameter that is not for a stage of this kind, or nothing."""
    hooks = mark.hooks
    if "animation" in hooks and kind is not Kind.ARRANGEMENT:
        return "only an arrangement shows pictures one after another; leave out animation"
    if ("capacity" in hooks or not mark.needs_pictures) and kind is not Kind.ARRANGEMENT:
        return "only an arrangement places pictures; leave out capacity and needs_pictures"
    if "probe" in hooks and kind is not Kind.SOURCE:
        return "only a source opens files; leave out probe"
    if "survey" in hooks and not kind.surveys:
        return "a survey is for stages that see one picture at a time; leave it out"
    if ("survey" in hooks) != ("Survey" in takes):
        return "a survey needs a parameter annotated Survey, and that parameter a survey; declare both"
    if "Origin" in takes and kind is not Kind.CARD:
        return "only a card is given its origin; leave out the parameter annotated Origin"
    if "Kept" in takes and kind is not Kind.REDUCTION:
        return "only a reduction keeps codes of earlier frames; leave out the parameter annotated Kept"
    return ""


def _hints(function: Callable[..., Any], label: str) -> dict[str, Any]:
    try:
        return typing.get_type_hints(function, include_extras=True)
    except Exception as error:
        raise PluginError(
            f"{label}: an annotation cannot be read ({error}); import the types it names at run time"
        ) from error


def _taken(rule: Callable[..., Any], hook: str, label: str) -> tuple[str, ...]:
    """Return the types of what a hook takes after the values that it is given anyway."""
    positional = (inspect.Parameter.POSITIONAL_ONLY, inspect.Parameter.POSITIONAL_OR_KEYWORD)
    more = [p for p in inspect.signature(rule).parameters.values() if p.kind in positional][_HOOK_VALUES[hook] :]
    asked = [parameter for parameter in more if parameter.default is parameter.empty]
    hints = _hints(rule, label) if asked else {}
    types = tuple(flow_type(hints.get(parameter.name)) for parameter in asked)
    for parameter, found in zip(asked, types, strict=True):
        if found not in _HOOK_INJECTED:
            known = " or ".join(_HOOK_INJECTED)
            raise PluginError(
                f"{label}: parameter {parameter.name!r} is of no type that can be injected; annotate it {known}"
            )
    return types


def _option(parameter: inspect.Parameter, hint: Any) -> OptionDeclaration:
    option = next((item for item in getattr(hint, "__metadata__", ()) if isinstance(item, Option)), Option(""))
    required = parameter.default is parameter.empty
    return OptionDeclaration(
        name=parameter.name,
        annotation=hint.__origin__ if hasattr(hint, "__metadata__") else hint,
        default=None if required else parameter.default,
        required=required,
        option=option,
    )
