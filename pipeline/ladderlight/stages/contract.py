"""The stage contract: what the author of a stage writes.

A stage is a function marked with :func:`stage`. Its first parameter is what flows in, its return value what flows out.
Further positional parameters are injected by type: ``Board``, ``Viewing`` (from where its screen is seen), ``Demand``
(the size that a source needs to deliver), ``Survey`` (what was found in all pictures before), ``Kept`` (the codes that
a frame of an animation keeps) and ``Origin`` (name and bank of a card). Its keyword-only parameters are its options.
Everything else (kind, validation, help, JSON schema, reference page) is read off that one declaration.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import KW_ONLY, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Concatenate, TypeVar

from ladderlight.errors import LadderlightError, Problem
from ladderlight.system.frozen import Frozen

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from ladderlight.board import Board, Finding
    from ladderlight.flow.pictures import Animation, Origin

F = TypeVar("F", bound=Callable[..., Any])
CONTRACT = 1
"""Version of this contract. It rises with a change that stages would have to follow."""
_MARK = "__ladderlight_stage__"


@dataclass(frozen=True)
class Option:
    """Help and limits of a stage's option: ``Annotated[float, Option("share of the error", minimum=0, maximum=1)]``.

    With ``unit`` the recipe may write a quantity such as ``"20 ms"``; the stage receives a plain SI number. ``fields``
    are the names that a text may have in braces, such as ``("device", "bank")`` for ``"{device}-{bank}.bin"``.
    """

    help: str
    _: KW_ONLY
    minimum: float | None = None
    maximum: float | None = None
    unit: str | None = None
    fields: tuple[str, ...] = ()


class Demand(Frozen):
    """The least size, in pixels, that a stage needs; larger adds nothing visible. None: full size."""

    width: int | None = None
    height: int | None = None


@dataclass(frozen=True, kw_only=True)
class Example:
    """A use of a stage that shows what it does, for the reference page, ``ladderlight stages`` and the JSON schema.

    The reference page runs it, in the default chain, on one of its own boards with pictures of its own.
    """

    options: Mapping[str, Any] = field(default_factory=dict)
    """As a recipe writes them."""
    pictures: tuple[str, ...] = ("cafe",)
    """The photographs ``cafe`` and ``quay-cat``, and the scenes of :mod:`ladderlight.starter`. A stage that
    takes one picture at a time shows the first."""
    shows: str = ""
    """What the result shows beside the picture before: the alternative text of the page's picture."""
    board: str = "banks"
    """One of the boards beside the page's generator: one memory with banks, or memories that address each other."""
    others: tuple[Mapping[str, Any], ...] = ()
    """Stages that take the place of those of their kind in the default chain, with ``use`` and options."""


class Survey(Frozen, eq=False):
    """What a stage's survey saw in all pictures of the recipe, before the stage is given the first of them."""

    total: Any = None
    """What was seen in each picture, added up in the order of the recipe; None when nothing was looked at."""


class Kept(Frozen, eq=False):
    """The codes that a frame of an animation keeps from the frames before it, for a reduction.

    Without them a change anywhere would make the dots of a dithering crawl everywhere. Where a reduction does not ask
    for them, the engine puts them over its result.
    """

    codes: NDArray[np.int32] | None = None
    """The code to keep, int32 (height, width), -1 where the picture has changed. None where nothing is kept."""

    def __bool__(self) -> bool:
        """Whether there is a code to keep."""
        return self.codes is not None and bool((self.codes >= 0).any())

    def over(self, codes: NDArray[np.uint16]) -> NDArray[np.uint16]:
        """Return the codes of the whole frame, uint16 (height, width), with those to keep in their places."""
        if self.codes is None:
            return codes
        joined = codes.copy()
        joined[self.codes >= 0] = self.codes[self.codes >= 0]
        return joined


@dataclass(frozen=True, kw_only=True, slots=True)
class Probe:
    """What a picture file's header holds, read before anything is decoded."""

    frames: int
    """Frames or pages that the source would give with its options."""
    width: int
    height: int
    """Pixels of the largest frame, upright."""
    caution: str = ""
    """A caution about the file; empty when there is none."""


Options = Mapping[str, Any]
"""All options of a stage, defaults included."""
Look = Callable[[Any], Any]
"""A function of what the stage treats, a picture or a coded picture."""
# After these values each hook may have parameters annotated ``Board`` and ``Viewing``, given as to the stage. The first
# form of each alone lets mypy infer the types of a lambda.
ProbeRule = Callable[[Path, Options], Probe] | Callable[Concatenate[Path, Options, ...], Probe]
DemandRule = Callable[[Demand, "Board", Options], Demand] | Callable[Concatenate[Demand, "Board", Options, ...], Demand]
SurveyRule = Callable[["Board", Options], Look | None] | Callable[Concatenate["Board", Options, ...], Look | None]
OptionRule = (
    Callable[["Board", Options], Iterable[Problem]] | Callable[Concatenate["Board", Options, ...], Iterable[Problem]]
)
AnimationRule = Callable[[Options], "Animation"] | Callable[Concatenate[Options, ...], "Animation"]
CapacityRule = (
    Callable[[Sequence["Origin"], "Board", Options], Iterable[Problem]]
    | Callable[Concatenate[Sequence["Origin"], "Board", Options, ...], Iterable[Problem]]
)
AdviceRule = (
    Callable[[bool, "Board", Options], Iterable["Finding"]]
    | Callable[Concatenate[bool, "Board", Options, ...], Iterable["Finding"]]
)


class Mark(Frozen):
    """What :func:`stage` leaves on a function."""

    help: str
    hooks: Mapping[str, Callable[..., Any]]
    """Those that the stage has, by the names that :func:`stage` has for them."""
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
    advice: AdviceRule | None = None,
    needs_pictures: bool = True,
    example: Example = Example(),
) -> Callable[[F], F]:
    """Mark a function as a stage. It stays an ordinary function.

    Every hook is given all options, those not written with their defaults, and may have further parameters annotated
    ``Board`` and ``Viewing``, which receive what the stage's own would.

    Parameters
    ----------
    help
        One sentence.
    rule
        Called with the board and the options before any picture is opened. Yields a problem for each mistake in the
        options together, or on this board, with ``where`` naming the option: ``Problem(where=("focus",), what="...",
        action="...")``. Types and limits of single options need no rule. A stage that is called without the engine can
        :func:`refuse` the same problems.
    probe
        For a source. Called with a file's path and the options. Returns a :class:`Probe`, read from the file's header
        alone, or raises ``PictureError`` when the file cannot be used.
    demand
        Called with the size that the next stage needs, the board and the options. Returns the size that this stage
        needs; large files are then decoded at a reduced scale. Without it a picture stage is given the full size.
    survey
        For a stage that needs to know all pictures before it can treat the first. Called with the board and the options
        for a picture. Returns a function that looks at the picture as the stage will be given it, or None when these
        options need no survey. What that function returns should be small, whatever the picture's size, and is added up
        with ``+`` over all pictures; the stage receives the total in its parameter annotated ``Survey``.
    animation
        For an arrangement that shows pictures one after another. Called with the options. Returns which.
    capacity
        For an arrangement. Called with the origins of all frames of the recipe, the board and the options before any
        picture is decoded. Yields a problem for what will not fit: too many, a bank needed twice, a pattern that fits
        none. It must not complain of what may depend on the pixels.
    advice
        Called with whether the pictures are frames of an animation, the board and the options for them. Yields a
        ``Finding`` of level ``note`` for what a good recipe could still add.
    needs_pictures
        False for an arrangement that places none of the pictures. A recipe whose arrangements all need none has no
        pictures, no source and no reduction.
    example
        How the stage is shown; without it, with its defaults.
    """
    hooks = {
        "rule": rule,
        "probe": probe,
        "demand": demand,
        "survey": survey,
        "animation": animation,
        "capacity": capacity,
        "advice": advice,
    }
    had = {name: hook for name, hook in hooks.items() if hook is not None}

    def mark(function: F) -> F:
        setattr(function, _MARK, Mark(help=help, hooks=had, needs_pictures=needs_pictures, example=example))
        return function

    return mark


def mark_of(value: object) -> Mark | None:
    """Return what :func:`stage` left on a function; None for anything else."""
    return getattr(value, _MARK, None) if callable(value) else None


def refuse(problems: Iterable[Problem], kind: type[LadderlightError]) -> None:
    """Raise the first of some problems as an error; do nothing when there is none."""
    for problem in problems:
        raise kind(str(problem))
