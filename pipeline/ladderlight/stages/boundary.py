"""The boundary of a stage: stages and their hooks are called here, and their results are checked.

Whatever a plugin does wrong is a :class:`StageFailure` that names the stage and the plugin, an attempt to end the whole
program included.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from ladderlight.board import Finding
from ladderlight.errors import LadderlightError, Problem, StageFailure
from ladderlight.flow.pictures import Animation, CodedPicture, Contents, DeviceFile, MemoryContents, Origin, Picture
from ladderlight.stages.contract import Demand, Kept, Look, Options, Probe
from ladderlight.stages.declaration import StageDeclaration
from ladderlight.stages.kinds import Kind
from ladderlight.system.printable import printable

if TYPE_CHECKING:
    from ladderlight.board import Board
    from ladderlight.colour.viewing import Viewing

T = TypeVar("T")
_END = object()
_CLOSE = 1e-4
"""How far light may stray beyond 0 to 1 by rounding: a third of the least step of 8 bits in sRGB, 1 / (255 * 12.92)."""
_MOST_BITS = int(np.float32(1 + _CLOSE).view(np.uint32))
"""The bits of the most light that is allowed: from 0 up bits rise with the number, and those of negative ones and NaN
are higher."""

_WORDS = (np.uint8, np.uint16, np.uint32)


def run_stage(
    declaration: StageDeclaration, value: Any, board: Board, options: Options, what: str, **given: Any
) -> Any:
    """Run a stage and return its result, checked; an emission gives a list.

    Parameters
    ----------
    declaration, value, board, options
        The stage, what flows into it, the board, and its options.
    what
        What it works on, for messages: a file of the recipe, or some words.
    given
        What else :meth:`StageDeclaration.run` takes.

    Raises
    ------
    StageFailure
        When the stage fails or breaks the contract.
    LadderlightError
        As the stage raises it.
    """
    call = partial(declaration.run, value, board, options, **given)
    emitting = declaration.kind is Kind.EMISSION
    result: object = guarded(declaration, (lambda: _listed(call())) if emitting else call, what)
    _refuse(_wrong_result(declaration.kind, result, board), declaration, what)
    kept: Kept | None = given.get("kept")
    if kept and "Kept" not in declaration.takes and isinstance(result, CodedPicture):
        return replace(result, codes=kept.over(result.codes))
    return result


def open_file(
    source: StageDeclaration, path: Path, board: Board, options: Options, what: str, **given: Any
) -> Iterator[Picture]:
    """Run a source over a file and yield its pictures, checked. Raises as :func:`run_stage` does."""
    found: object = guarded(source, partial(source.run, path, board, options, **given), what)
    if not isinstance(found, Iterable) or isinstance(found, str | bytes | Mapping):
        raise _failure(f"{_shown(found)}, not a list of Picture,", source, what)
    pictures: Iterator[Any] = iter(found)
    count = 0
    while (picture := guarded(source, partial(next, pictures, _END), what)) is not _END:
        _refuse(_wrong_result(Kind.PICTURE, picture, board), source, what)
        yield picture
        count += 1
    if not count:
        _refuse("no picture", source, what)


def guarded(declaration: StageDeclaration, call: Callable[[], T], what: str, *, hook: str = "") -> T:
    """Call what belongs to a stage, and name the stage when it fails; ``hook`` is what is called, if not the stage.

    Raises StageFailure for everything but expected errors, ``SystemExit`` included.
    """
    try:
        return call()
    except LadderlightError:
        raise
    except BaseException as error:
        if isinstance(error, KeyboardInterrupt) and threading.current_thread() is threading.main_thread():
            raise  # Ctrl-C
        raise StageFailure(f"{_label(declaration, hook)} failed on {what}: {_cause(error)}") from error


@dataclass(frozen=True)
class HooksOf:
    """The hooks of a stage, called with its options and their defaults, and with the board as it is seen."""

    stage: StageDeclaration
    board: Board
    options: Options
    viewing: Viewing | None = None

    def demand(self, demand: Demand, what: str) -> Demand:
        """Return the size that the stage needs to be given; full size when it has no such hook."""
        found = self._one(Demand, "demand", demand, self.board, what=what) or Demand()
        sizes = (found.width, found.height)
        if not all(size is None or (isinstance(size, int | np.integer) and size > 0) for size in sizes):
            _refuse(f"{sizes[0]!r} by {sizes[1]!r}, not whole pixels,", self.stage, what, hook="demand")
        return found

    def look(self, what: str) -> Look | None:
        """Return how the stage looks at a picture before it is given the first; None when it does not."""
        look: Look | None = self._call("survey", self.board, what=what) if "survey" in self.stage.hooks else None
        if look is not None and not callable(look):
            raise _failure(f"{_shown(look)}, not a function of a picture,", self.stage, what, hook="survey")
        return look

    def animation(self) -> Animation | None:
        """Return which pictures the stage shows one after another; None when it shows none so."""
        return self._one(Animation, "animation")

    def probe(self, path: Path, what: str) -> Probe | None:
        """Return what a source reads in a file's header; None when it reads none."""
        found = self._one(Probe, "probe", path, what=what)
        if found and (not isinstance(found.frames, int | np.integer) or found.frames < 1):
            _refuse(f"{found.frames!r} frames", self.stage, what, hook="probe")
        return found

    def problems(self) -> list[Problem]:
        """Return the problems that the stage's rule finds in its options."""
        return self._many(Problem, "rule", self.board)

    def capacity(self, origins: Sequence[Origin]) -> list[Problem]:
        """Return the problems that an arrangement finds in pictures of which only the origins are known."""
        return self._many(Problem, "capacity", origins, self.board, what="the pictures")

    def advice(self, *, animated: bool) -> list[Finding]:
        """Return what the stage advises for its options, which are for frames if ``animated``."""
        return self._many(Finding, "advice", animated, self.board)

    def _call(self, hook: str, *values: Any, what: str) -> Any:
        def call() -> object:
            options = self.stage.complete(self.options)
            return _listed(self.stage.call_hook(hook, *values, options, board=self.board, viewing=self.viewing))

        return guarded(self.stage, call, what, hook=hook)

    def _one(self, kind: type[T], hook: str, *values: Any, what: str = "its options") -> T | None:
        if hook not in self.stage.hooks:
            return None
        found = self._call(hook, *values, what=what)
        if not isinstance(found, kind):
            raise _failure(f"{_shown(found)}, not {_article(kind.__name__)},", self.stage, what, hook=hook)
        return found

    def _many(self, kind: type[T], hook: str, *values: Any, what: str = "its options") -> list[T]:
        found: list[T] = self._call(hook, *values, what=what) if hook in self.stage.hooks else []
        _refuse(_wrong_many(found, kind, _wrong_place), self.stage, what, hook=hook)
        return found


def _label(declaration: StageDeclaration, hook: str = "") -> str:
    stage = f"stage {declaration.name!r} of plugin {declaration.plugin!r}"
    return f"the {hook} of {stage}" if hook else stage


def _cause(error: BaseException) -> str:
    try:
        text = str(error)
    except Exception:  # noqa: BLE001 - the text of a plugin's exception is the plugin's code too
        text = "its text cannot be read"
    return ": ".join(filter(None, (type(error).__name__, text)))


def _shown(value: object) -> str:
    """Name a value by its type."""
    return "None" if value is None else _article(type(value).__name__)


def _article(name: str) -> str:
    return f"an {name}" if name[0] in "aeiouAEIOU" else f"a {name}"


def _refuse(wrong: str, declaration: StageDeclaration, what: str, *, hook: str = "") -> None:
    if wrong:
        raise _failure(wrong, declaration, what, hook=hook)


def _failure(wrong: str, declaration: StageDeclaration, what: str, *, hook: str = "") -> StageFailure:
    return StageFailure(f"{_label(declaration, hook)} gave {wrong} for {what}")


def _listed(result: object) -> object:
    """Return a list of what can be gone through, so that a generator fails where its stage is known."""
    return list(result) if isinstance(result, Iterable) and not isinstance(result, str | bytes | Mapping) else result


def _wrong_result(kind: Kind, result: object, board: Board) -> str:
    """Return what is wrong with a stage's result, by types, shapes and ranges, or nothing."""
    if kind is Kind.PICTURE:
        if not isinstance(result, Picture):
            return f"{_shown(result)}, not a Picture,"
        return _wrong_pixels(result) or _wrong_origin(result) or _wrong_notes(result.notes)
    if kind is Kind.ARRANGEMENT:
        return _wrong_contents(result, board) if isinstance(result, Contents) else f"{_shown(result)}, not Contents,"
    if kind is Kind.EMISSION:
        return _wrong_many(result, DeviceFile, _wrong_file)
    if not isinstance(result, CodedPicture):
        return f"{_shown(result)}, not a CodedPicture,"
    wrong = _wrong_codes(result, board) or _wrong_origin(result) or _wrong_notes(result.notes)
    wrong = wrong or _wrong_notes(result.metrics, "measure")
    return wrong or (_wrong_card(result, board) if kind is Kind.CARD else "")


def _wrong_many(result: object, kind: type[T], wrong: Callable[[T], str] = lambda _: "") -> str:
    if not isinstance(result, list):
        return f"{_shown(result)}, not a list of {kind.__name__},"
    for item in result:
        found = wrong(item) if isinstance(item, kind) else f"{_shown(item)}, not {_article(kind.__name__)},"
        if found:
            return found
    return ""


def _wrong_pixels(picture: Picture) -> str:
    pixels = picture.pixels
    if not isinstance(pixels, np.ndarray):
        return f"pixels that are {_shown(pixels)}, not an array,"
    if pixels.dtype != np.float32 or pixels.ndim != 3 or pixels.shape[2] != 3:
        return f"pixels of {pixels.dtype} {pixels.shape}, not float32 (height, width, 3),"
    if not pixels.size:
        return "a picture without pixels"
    if int(pixels.view(np.uint32).max()) <= _MOST_BITS:
        return ""
    darkest, lightest = float(pixels.min()), float(pixels.max())
    if not (math.isfinite(darkest) and math.isfinite(lightest)):
        return "pixels that are not numbers, or infinite,"
    if darkest < -_CLOSE or lightest > 1 + _CLOSE:
        return f"pixels from {darkest:.4g} to {lightest:.4g}, not from 0 to 1,"
    return ""


def _wrong_codes(picture: CodedPicture, board: Board) -> str:
    codes = picture.codes
    if not isinstance(codes, np.ndarray):
        return f"codes that are {_shown(codes)}, not an array,"
    if codes.dtype != np.uint16 or codes.ndim != 2:
        return f"codes of {codes.dtype} {codes.shape}, not uint16 (height, width),"
    if codes.size and int(codes.max()) >= len(board.palette):
        return f"code {int(codes.max())}, beyond the board's {len(board.palette)} codes,"
    return ""


def _wrong_origin(picture: Picture | CodedPicture) -> str:
    origin: object = picture.origin
    return "" if isinstance(origin, Origin) else f"{_shown(origin)}, not an Origin, as origin of a picture"


def _wrong_notes(notes: object, what: str = "note") -> str:
    """Return which note is not a JSON value: those go into the manifest."""
    if not isinstance(notes, Mapping):
        return f"{what}s that are {_shown(notes)}, not a dict,"
    for name, value in notes.items():
        if not (isinstance(name, str) and _is_json(value)):
            shown = value if isinstance(value, float) else _shown(value)
            return f"a {what} {printable(str(name))!r} that is {shown}, not a JSON value,"
    return ""


def _is_json(value: object) -> bool:
    if isinstance(value, list):
        return all(map(_is_json, value))
    if isinstance(value, dict):
        return all(isinstance(key, str) and _is_json(item) for key, item in value.items())
    if isinstance(value, float):
        return math.isfinite(value)  # RFC 8259 has no other numbers
    return value is None or isinstance(value, (str, int))


def _wrong_card(card: CodedPicture, board: Board) -> str:
    height, width = card.codes.shape
    across, down = len(board.x_grid.samples), len(board.y_grid.samples)
    return "" if (width, height) == (across, down) else f"{width}x{height} codes, not the board's {across}x{down},"


def _wrong_contents(contents: Contents, board: Board) -> str:
    known: Sequence[str] = [memory.name for memory in board.memories]
    for name, memory in contents.memories.items():
        if name not in known:
            return f"words for a memory {name!r}, which the board does not have,"
        if not isinstance(memory, MemoryContents):
            return f"{_shown(memory)}, not MemoryContents,"
        for array in (memory.words, memory.written):
            if not isinstance(array, np.ndarray) or array.dtype not in _WORDS:
                given = getattr(array, "dtype", _shown(array))
                return f"{given}, not uint8, uint16 or uint32, as words of memory {name!r}"
    return ""


def _wrong_place(found: object) -> str:
    misplaced = isinstance(found, Problem) and not isinstance(found.where, tuple)
    return "a Problem whose place is not a tuple," if misplaced else ""


def _wrong_file(file: DeviceFile) -> str:
    if not isinstance(file.name, str) or not isinstance(file.data, bytes):
        return f"a DeviceFile with {_shown(file.name)} as name and {_shown(file.data)} as data"
    return ""
