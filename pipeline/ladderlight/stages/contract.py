"""The stage contract: what a stage is, what flows through it, which options it has, and which chains make sense.

A stage is a function marked with :func:`stage`. Its first parameter is what flows in, its return value what flows out;
further positional parameters annotated ``Board``, ``Viewing``, ``Demand`` and ``Survey`` receive the board, from where
its screen is looked at, the size that is wanted, and what was found in all pictures before. Its keyword-only parameters
are its options. Everything else (kind, validation, help, JSON schema, reference page) is read off that one declaration.
"""

from __future__ import annotations

import inspect
import typing
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from ladderlight.colour.viewing import Viewing
from ladderlight.errors import PluginError, Problem
from ladderlight.stages.kinds import Kind as Kind
from ladderlight.stages.kinds import kind_of as kind_of
from ladderlight.stages.kinds import kinds_in_words
from ladderlight.stages.wording import plain_text, type_text
from ladderlight.system.value import Value

if TYPE_CHECKING:
    from pydantic import BaseModel

    from ladderlight.board import Board
    from ladderlight.flow.pictures import Animation, CodedPicture, Origin, Picture

F = TypeVar("F", bound=Callable[..., Any])
_MARK = "__ladderlight_stage__"
_GIVEN = ("Board", "Viewing", "Demand", "Survey")


@dataclass(frozen=True)
class Option:
    """Help and limits of a stage's option: ``Annotated[float, Option("share of the error", minimum=0, maximum=1)]``.

    With ``unit`` the recipe may write a quantity such as ``"20 ms"``; the stage receives a plain SI number. ``fields``
    are the names that a text may have in braces, such as ``("device", "bank")`` for ``"{device}-{bank}.bin"``.
    """

    help: str
    minimum: float | None = field(default=None, kw_only=True)
    maximum: float | None = field(default=None, kw_only=True)
    unit: str | None = field(default=None, kw_only=True)
    fields: tuple[str, ...] = field(default=(), kw_only=True)


@dataclass(frozen=True, kw_only=True)
class Demand:
    """The least size, in pixels, that a stage wants to be given; larger adds nothing visible. None: full size."""

    width: int | None = None
    height: int | None = None


@dataclass(frozen=True, kw_only=True)
class Example:
    """A use of a stage that shows what it does, for the reference page, ``ladderlight stages`` and the JSON schema.

    The reference page runs it, in the default chain, on one of its own boards with pictures of its own.
    """

    options: Mapping[str, Any] = field(default_factory=dict)
    """As a recipe writes them."""
    pictures: tuple[str, ...] = ("lighthouse",)
    """Scenes of :mod:`ladderlight.starter.scenes`. A stage that takes one picture at a time shows the first."""
    board: str = "banks"
    """One of the boards beside the page's generator: one memory with banks, or memories that address each other."""
    others: tuple[Mapping[str, Any], ...] = ()
    """Stages that take the place of those of their kind in the default chain, with ``use`` and options."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Survey:
    """What a stage's survey saw in all pictures of the recipe, before the stage is given the first of them."""

    total: Any = None
    """What was seen in each picture, added up in the order of the recipe; None when nothing was looked at."""


@dataclass(frozen=True, kw_only=True)
class Probe:
    """What a picture file's header says, before anything in it is decoded."""

    frames: int
    """Frames or pages that the source would give with its options."""
    width: int
    height: int
    """Pixels of the largest frame, upright."""
    caution: str = ""
    """What a careful user should know of the file; empty when there is nothing."""


ProbeRule = Callable[[Path, Mapping[str, Any]], Probe]
DemandRule = Callable[[Demand, "Board", Mapping[str, Any]], Demand]
Look = Callable[["Picture | CodedPicture"], Any]
SurveyRule = Callable[["Board", Mapping[str, Any]], Look | None]
OptionRule = Callable[["Board", Mapping[str, Any]], Iterable[Problem]]
AnimationRule = Callable[[Mapping[str, Any]], "Animation"]
CapacityRule = Callable[[Sequence["Origin"], "Board", Mapping[str, Any]], Iterable[Problem]]


@dataclass(frozen=True, kw_only=True)
class _Mark:
    help: str
    rule: OptionRule | None
    probe: ProbeRule | None
    demand: DemandRule | None
    survey: SurveyRule | None
    animation: AnimationRule | None
    capacity: CapacityRule | None
    needs_pictures: bool
    example: Example


def stage(
    *,
    help: str,  # noqa: A002 - reads well at the call
    rule: OptionRule | None = None,
    probe: ProbeRule | None = None,
    demand: DemandRule | None = None,
    survey: SurveyRule | None = None,
    animation: AnimationRule | None = None,
    capacity: CapacityRule | None = None,
    needs_pictures: bool = True,
    example: Example = Example(),
) -> Callable[[F], F]:
    """Mark a function as a stage. It stays an ordinary function.

    ``help`` is one sentence.

    ``rule`` says what is wrong with the stage's options together, or on this board, before any picture is opened. It is
    given the board and all options, those not written with their defaults, and yields a problem for each mistake, with
    ``where`` naming the option: ``Problem(where=("focus",), what="...", action="...")``. Types and limits of single
    options need no rule. A stage that is called without the engine can :func:`refuse` the same problems.

    ``probe`` is for a source. From a file's path and the stage's options it returns a :class:`Probe`, read from the
    file's header alone, or raises ``PictureError`` when the file cannot be used.

    ``demand`` says, from the size that the next stage wants, the board and this stage's
    options, which size this stage wants; large files are then decoded at a reduced scale. Without it a picture stage is
    given the full size.

    ``survey`` is for a stage that needs to know all pictures before it can treat the first. From the board and the
    stage's options for a picture it gives a function that looks at the picture as the stage will be given it, or None
    when these options need no survey. What that function returns should be small, whatever the picture's size, and is
    added up with ``+`` over all pictures; the stage receives the total in its parameter annotated ``Survey``.

    ``animation`` is for an arrangement that shows pictures one after another. From the stage's options it says which.

    ``capacity`` is for an arrangement. Before any picture is decoded it is given the origins of all that the recipe
    has, frame by frame, the board and the stage's options, and yields a problem for what will not fit: too many, a bank
    asked for twice, a pattern that fits none. It must not complain of what may depend on the pixels.

    ``needs_pictures`` is false for an arrangement that places none of the pictures. A recipe whose arrangements all
    need none has no pictures, no source and no reduction.

    ``example`` is how the stage is shown; without it, with its defaults.
    """

    def mark(function: F) -> F:
        found = _Mark(
            help=help,
            rule=rule,
            probe=probe,
            demand=demand,
            survey=survey,
            animation=animation,
            capacity=capacity,
            needs_pictures=needs_pictures,
            example=example,
        )
        setattr(function, _MARK, found)
        return function

    return mark


def is_stage(value: object) -> bool:
    """Whether a value is a function marked with :func:`stage`."""
    return callable(value) and hasattr(value, _MARK)


def qualified_name(plugin: str, stage: str) -> str:
    """Return the name ``plugin.stage``; a project's own file counts without its ending."""
    return f"{plugin.removesuffix('.py')}.{stage}"


@dataclass(frozen=True, kw_only=True)
class OptionDeclaration:
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


@dataclass(frozen=True, kw_only=True, eq=False)
class StageDeclaration(Value):
    """All that the engine needs to know of one stage. It is pickled as a reference: plugin, name, and plugin file."""

    name: str
    kind: Kind
    help: str
    options: tuple[OptionDeclaration, ...]
    function: Callable[..., Any]
    takes: tuple[str, ...]
    """What the stage asks for beside its flow value, by the names of their types, in order."""
    demand: DemandRule | None
    rule: OptionRule | None = None
    probe: ProbeRule | None = None
    survey: SurveyRule | None = None
    animation: AnimationRule | None = None
    capacity: CapacityRule | None = None
    needs_pictures: bool = True
    example: Example = field(default_factory=Example)
    plugin: str = ""
    file: PluginFile | None = None
    """The project's own file that declares it; None for a stage of an installed plugin."""

    def content(self) -> object:
        """Return what tells one stage from another; functions are equal to nothing but themselves."""
        return self.plugin, self.name, self.file

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

    def problems(self, board: Board, options: Mapping[str, Any]) -> list[Problem]:
        """Ask the stage's rule about options that are good each by itself; ``where`` is relative to its table."""
        return [] if self.rule is None else list(self.rule(board, self.complete(options)))

    def run(
        self,
        value: Any,
        board: Board,
        options: Mapping[str, Any],
        *,
        viewing: Viewing | None = None,
        demand: Demand | None = None,
        survey: Survey | None = None,
    ) -> Any:
        """Call the stage with its flow value, what else its signature asks for, and its options."""
        given = {
            "Board": board,
            "Viewing": viewing or Viewing(),
            "Demand": demand or Demand(),
            "Survey": survey or Survey(),
        }
        return self.function(value, *(given[name] for name in self.takes), **options)


def declaration_of(function: Callable[..., Any], *, plugin: str = "") -> StageDeclaration:
    """Read a stage's declaration off its annotations.

    Raises
    ------
    PluginError
        When the function is not a stage, an annotation cannot be resolved, or the signature is not one of the kinds.
    """
    name = getattr(function, "__name__", repr(function))
    mark = getattr(function, _MARK, None)
    label = f"stage {name!r}" + (f" of plugin {plugin!r}" if plugin else "")
    if mark is None:
        raise PluginError(f"{label}: not a stage; mark the function with @stage(help=...)")
    try:
        hints = typing.get_type_hints(function, include_extras=True)
    except Exception as error:
        raise PluginError(
            f"{label}: an annotation cannot be read ({error}); import the types it names at run time"
        ) from error
    parameters = list(inspect.signature(function).parameters.values())
    for parameter in parameters:
        if parameter.kind in (parameter.VAR_KEYWORD, parameter.VAR_POSITIONAL):
            raise PluginError(f"{label}: '{parameter}' would swallow mistakes; name each option")
        if parameter.name not in hints:
            raise PluginError(f"{label}: parameter {parameter.name!r} has no annotation; add one")
    flow = [p for p in parameters if p.kind is not p.KEYWORD_ONLY]
    texts = [plain_text(hints[p.name]) for p in flow]
    kind = kind_of(texts[0] if texts else "", plain_text(hints.get("return")))
    if kind is None or any(text not in _GIVEN for text in texts[1:]):
        raise PluginError(f"{label}: its parameters and result are of no known kind; {kinds_in_words()}")
    if mark.animation is not None and kind is not Kind.ARRANGEMENT:
        raise PluginError(f"{label}: only an arrangement shows pictures one after another; leave out animation")
    if (mark.capacity is not None or not mark.needs_pictures) and kind is not Kind.ARRANGEMENT:
        raise PluginError(f"{label}: only an arrangement places pictures; leave out capacity and needs_pictures")
    if mark.probe is not None and kind is not Kind.SOURCE:
        raise PluginError(f"{label}: only a source opens files; leave out probe")
    if mark.survey is not None and not kind.surveys:
        raise PluginError(f"{label}: a survey is for stages that see one picture at a time; leave it out")
    if (mark.survey is None) == ("Survey" in texts[1:]):
        raise PluginError(f"{label}: a survey needs a parameter annotated Survey, and the other way round; give both")
    return StageDeclaration(
        name=name,
        kind=kind,
        help=mark.help,
        options=tuple(_option(p, hints[p.name]) for p in parameters if p.kind is p.KEYWORD_ONLY),
        function=function,
        takes=tuple(texts[1:]),
        demand=mark.demand,
        rule=mark.rule,
        probe=mark.probe,
        survey=mark.survey,
        animation=mark.animation,
        capacity=mark.capacity,
        needs_pictures=mark.needs_pictures,
        example=mark.example,
        plugin=plugin,
    )


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
