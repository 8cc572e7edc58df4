"""The work on one unit of a plan: taking its pictures through the stages, from where they have been kept."""

from __future__ import annotations

import operator
import pickle
from collections import deque
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import partial, reduce
from itertools import chain, islice
from pathlib import Path
from secrets import token_hex
from typing import Any

from ladderlight.board import Board
from ladderlight.cache.entries import DamagedError, Entry
from ladderlight.cache.store import Cache, Writing
from ladderlight.engine.board_use import KnownUses, Used, WatchedBoard
from ladderlight.engine.coded import CodedUnit, CodedWriting, cautions
from ladderlight.engine.coherence import Bools, Codes, FrameSequence, Reduced
from ladderlight.engine.entries import add_picture, is_plain, packed, pictures_of, plain_array, unpacked
from ladderlight.engine.plan import Base, Folds, Plan, Unit
from ladderlight.errors import Fault, PictureError
from ladderlight.flow.images import source_view
from ladderlight.flow.pictures import CodedPicture, Picture
from ladderlight.recipe import PictureFile
from ladderlight.stages.boundary import HooksOf, guarded, open_file, run_stage
from ladderlight.stages.contract import Kept
from ladderlight.stages.declaration import StageDeclaration
from ladderlight.system.frozen import Frozen
from ladderlight.system.value import digest_of

_AHEAD = 8  # how many frames of an animation are reduced beyond the one that is waited for

Spread = Callable[[Callable[[], Any]], Future[Any]]
"""Has something done, now or by another thread."""


def at_once(call: Callable[[], Any]) -> Future[Any]:
    """Do it now."""
    done: Future[Any] = Future()
    try:
        done.set_result(call())
    except Exception as error:  # noqa: BLE001 - raised where the result is asked for
        done.set_exception(error)
    return done


@dataclass(frozen=True, kw_only=True, slots=True)
class Task:
    """A node of the plan, to be worked out: a unit coded, or looked at for the survey of a stage, or made ready.

    To make files ready is to take them as far as the reduction, so that the unit they belong to finds them there.
    """

    unit: Unit
    look: int | None = None
    ready: PictureFile | None = None
    base: Base | None = None
    """Of the coded pictures, once these have been looked for in vain."""

    @property
    def spreads(self) -> bool:
        """Whether parts of the task can be done beside each other."""
        return len(self.unit.files) > 1 and self.look is None and self.ready is None


class Work(Frozen):
    """What the tasks of one pass through a plan have in common."""

    plan: Plan
    cache: Cache
    uses: KnownUses
    folds: Folds = field(default_factory=dict)
    finding: bool = True
    """Whether what was kept is used."""
    spare: Cache | None = None
    """Where coded pictures wait that the cache has no room for; without one, in memory."""
    places: Mapping[PictureFile, Path] = field(default_factory=dict)
    """Where files are that are not where the recipe has them."""

    def run(self, task: Task, spread: Spread = at_once) -> Any:
        """Work out a task: return a :class:`CodedUnit`, or what a survey has seen by file, or None.

        ``spread`` is called with what can be done beside everything else; it must not wait for this thread.

        Raises PictureError when files of the unit cannot be coded: all of them.
        """
        try:
            return self.attempt(task, spread)
        except DamagedError:  # found only when half of it was used
            return replace(self, finding=False).attempt(task, spread)

    def attempt(self, task: Task, spread: Spread) -> Any:
        """Work out a task; raises ``DamagedError`` too, when what was kept turns out to be damaged."""
        if task.look is not None:
            return self._seen(task.unit, task.look)
        if task.ready is not None:
            return self._make_ready(task.unit, task.ready)
        found = task if task.base else self.sought(task)
        return found if isinstance(found, CodedUnit) else self.coded_unit(found, spread)

    def sought(self, task: Task) -> CodedUnit | Task:
        """Return the coded pictures of a task if they have been kept, else the task, which need not seek them again."""
        if task.look is not None or not self.cache.lasting:
            return task
        base = self._base(task.unit)
        with suppress(DamagedError):
            for kept, used in self._found(base):
                return CodedUnit.of(kept, used)
        return replace(task, base=base)

    def coded_unit(self, task: Task, spread: Spread) -> CodedUnit:
        """Return the coded pictures of a task, coded now; raises as :meth:`attempt`."""
        unit = task.unit
        used: set[str] = set()
        sequence = FrameSequence(still=unit.still)
        coded = self._coded(unit, self.plan.end, used, sequence, spread)
        begun = list(islice(coded, 2))
        if len(begun) == 1 and self.cache.holds(begun[0][1].codes.nbytes):
            return _in_memory(unit, begun, sequence, used)
        writing = CodedWriting(self.cache.write(self.spare), len(unit.files))
        try:
            for place, picture in chain(begun, coded):
                writing.add(place, picture)
            writing.correct_first(sequence.first())
            return self._ended(unit, task.base or self._base(unit), writing, used) or self.in_memory(unit)
        finally:
            writing.discard()

    def in_memory(self, unit: Unit) -> CodedUnit:
        """Code a unit anew, and hold its codes in memory."""
        used: set[str] = set()
        sequence = FrameSequence(still=unit.still)
        anew = replace(self, finding=False)
        found = list(anew._coded(unit, self.plan.end, used, sequence, at_once))  # noqa: SLF001 - of its own class
        return _in_memory(unit, found, sequence, used)

    def keep(self, unit: Unit, found: CodedUnit) -> CodedUnit:
        """Keep coded pictures that another cache has held, so that they do not stay in memory."""
        writing = CodedWriting(self.cache.write(self.spare), len(unit.files))
        try:
            places = (place for place, count in enumerate(found.counts) for _ in range(count))
            for place, picture in zip(places, found.held, strict=True):
                writing.add(place, picture)
            return self._ended(unit, self._base(unit), writing, found.used) or found
        finally:
            writing.discard()

    def _ended(self, unit: Unit, base: Base, writing: CodedWriting, used: Collection[str]) -> CodedUnit | None:
        """Put the entry of a unit into its place; return the unit, or None if it is not kept."""
        if writing.is_plain and self._is_still(base, unit.files):
            entry = self._end(writing.writing, base, used, writing.about)
        else:  # good for this build alone
            entry = writing.writing.end(digest_of((self.plan.nonce, token_hex())), writing.about)
        return None if entry is None else writing.unit(entry, used)

    def _coded(
        self, unit: Unit, until: int, used: set[str], sequence: FrameSequence, spread: Spread
    ) -> Iterator[tuple[int, CodedPicture]]:
        """Yield the coded pictures of a unit as they reach a stage, with the place of their file in it."""
        board = WatchedBoard(self.plan.recipe.board, used)
        waiting: deque[tuple[int, Bools | None, Reduced]] = deque()
        bad: list[Fault] = []

        def finished(left: int) -> Iterator[tuple[int, CodedPicture]]:
            while len(waiting) > left:
                place, still, reduced = waiting.popleft()
                try:
                    coded = reduced.result()[1]
                    yield place, sequence.finish(coded, still) if until == self.plan.end else coded
                except PictureError as error:
                    bad.extend(_faults(unit.files[place], error))

        for place, file in enumerate(unit.files):
            try:
                reached: Iterable[Picture] = self._reached(file, self.plan.reduction, used)
                alone = False
                if len(unit.files) == 1:
                    first = list(islice(reached, 2))
                    alone, reached = len(first) == 1, chain(first, reached)
                for picture in reached:
                    kept, still = (Kept(), None) if alone else sequence.compare(picture)
                    reduced = spread(partial(self._reduced, file, board, until, picture, kept))
                    sequence.reduce(reduced)
                    waiting.append((place, still, reduced))
                    yield from finished(_AHEAD)
            except PictureError as error:
                bad += _faults(file, error)
                sequence.lose()
        yield from finished(0)
        if bad:
            raise PictureError.of(bad)

    def _reduced(
        self, file: PictureFile, board: Board, until: int, picture: Picture, kept: Kept
    ) -> tuple[Codes, CodedPicture]:
        """Take a picture through the reduction and the stages after it, up to one."""
        coded = reduced = self._run_stage(file, self.plan.reduction, board, picture, kept=kept)
        for at in range(self.plan.reduction + 1, until):
            coded = self._run_stage(file, at, board, coded)
        view = picture.view or source_view(picture) if until == self.plan.end else None
        return reduced.codes, replace(coded, codes=plain_array(coded.codes), view=view)

    def _make_ready(self, unit: Unit, file: PictureFile) -> None:
        if any(self._found(self._base(unit))):
            return
        try:
            for _ in self._reached(file, self.plan.reduction, set()):
                pass
        except PictureError:  # reported when the unit is coded
            pass

    def _reached(self, file: PictureFile, until: int, used: set[str]) -> Iterator[Picture]:
        """Yield the pictures of a file as they reach a stage; add to a set what was used of the board for them."""
        if until not in self.plan.points or not (self.cache.lasting or self.plan.returns):
            yield from self._through(file, until, used)
            return
        base = self.plan.base([file], until, self.folds)
        for entry, names in self._found(base):
            used |= names
            yield from pictures_of(entry)
            return
        own: set[str] = set()
        writing = self.cache.write()
        try:
            about = []
            for picture in self._through(file, until, own):
                kept = replace(picture, pixels=plain_array(picture.pixels))
                if until == self.plan.reduction:  # for builds with other reductions
                    kept = replace(kept, view=source_view(kept))
                about.append(add_picture(writing, kept))
                yield kept
            used |= own
            if is_plain({"pictures": about}) and self._is_still(base, [file]):
                self._end(writing, base, own, {"pictures": about})
        finally:
            writing.discard()

    def _through(self, file: PictureFile, until: int, used: set[str]) -> Iterator[Picture]:
        """Yield the pictures of a file as they reach a stage, from the last point before it where they were kept."""
        board = WatchedBoard(self.plan.recipe.board, used)
        start = max((point for point in self.plan.points if point < until), default=0)
        reached = self._reached(file, start, used) if start else self._opened(file, board)
        # Frames go through the stages one by one: in full size they are never held together.
        for at in range(start or 1, until):
            reached = map(partial(self._run_stage, file, at, board), reached)
        return reached

    def _opened(self, file: PictureFile, board: Board) -> Iterator[Picture]:
        recipe = self.plan.recipe
        source, options = recipe.chain[0].declaration, recipe.options_for(file, 0)
        given = {"viewing": recipe.viewing, "demand": self.plan.demand(file)}
        place = self.places.get(file, file.path)
        for index, frame in enumerate(open_file(source, place, board, options, file.source, **given)):
            origin, duration = self.plan.origin(file, index), frame.origin.duration
            if duration is not None:
                origin = replace(origin, duration=duration, animated=True)
            yield replace(frame, origin=origin)

    def _run_stage(self, file: PictureFile, at: int, board: Board, value: Any, **given: Any) -> Any:
        recipe = self.plan.recipe
        if at in self.folds:
            given["survey"] = self.folds[at].survey
        options = recipe.options_for(file, at)
        stage = recipe.chain[at].declaration
        return run_stage(stage, value, board, options, file.source, viewing=recipe.viewing, **given)

    def _seen(self, unit: Unit, at: int) -> dict[PictureFile, Any]:
        """Return what a stage's survey sees in the files of a unit. Files that cannot be used are reported later."""
        looked = [file for file in unit.files if file in self.plan.looks[at]]
        base = self.plan.base(unit.files, at, self.folds, "look", unit.still, self.plan.look(unit.files, at))
        for entry, _ in self._found(base):
            try:
                return dict(zip(looked, unpacked(bytes(entry.read(0))), strict=True))
            except (ValueError, TypeError, pickle.UnpicklingError) as error:
                raise DamagedError(str(error)) from error
        used: set[str] = set()
        board, recipe = WatchedBoard(self.plan.recipe.board, used), self.plan.recipe
        stage = recipe.chain[at].declaration
        seen: dict[PictureFile, list[Any]] = {file: [] for file in looked}
        looks = {
            file: HooksOf(stage, board, recipe.options_for(file, at), recipe.viewing).look(file.source)
            for file in looked
        }
        try:
            for file, picture in self._reaching(unit, at, used):
                if look := looks.get(file):
                    seen[file].append(guarded(stage, partial(look, picture), file.source, hook="survey"))
        except PictureError:
            return {}
        totals = {file: total(stage, found) for file, found in seen.items()}
        data = packed(list(totals.values()))
        if data is not None and self._is_still(base, unit.files):
            writing = self.cache.write()
            writing.add(data)
            self._end(writing, base, used, {})
        return totals

    def _reaching(self, unit: Unit, at: int, used: set[str]) -> Iterator[tuple[PictureFile, Picture | CodedPicture]]:
        """Yield the pictures of a unit as they reach a stage, with their files."""
        if at > self.plan.reduction:
            for place, coded in self._coded(unit, at, used, FrameSequence(still=unit.still), at_once):
                yield unit.files[place], coded
            return
        for file in unit.files:
            for picture in self._reached(file, at, used):
                yield file, picture

    def _base(self, unit: Unit) -> Base:
        return self.plan.base(unit.files, self.plan.end, self.folds, "coded", unit.still)

    def _found(self, base: Base) -> Iterator[tuple[Entry, Used]]:
        """Yield the entry that a node was kept in, if there is one, and what it has used of the board."""
        if self.finding:
            for names in self.uses.of(base.sort):  # found under what it has used itself, and under no other
                if (entry := self.cache.find(self.plan.key(base, names))) is not None:
                    yield entry, names
                    return

    def _end(self, writing: Writing, base: Base, used: Collection[str], about: Mapping[str, Any]) -> Entry | None:
        """Put an entry of a node into its place; return it, or None if it is not kept."""
        key = self.plan.key(base, frozenset(used))
        entry = writing.end(key, about)
        if entry is not None and entry.path == self.cache.path(key):
            self.uses.add(base.sort, frozenset(used))
        return entry

    def _is_still(self, base: Base, files: Iterable[PictureFile]) -> bool:
        """Whether files are as they were when their digests were made, so that a result of them may be kept."""
        seen, places = self.plan.seen, self.places
        return not base.lasting or all(seen[file.source].still(places.get(file) or file.place) for file in files)


def _in_memory(
    unit: Unit, found: Sequence[tuple[int, CodedPicture]], sequence: FrameSequence, used: Collection[str]
) -> CodedUnit:
    """Return a unit of coded pictures, which are given with the places of their files."""
    pictures = [picture for _, picture in found]
    first = sequence.first()
    pictures[:1] = [first] if first is not None else pictures[:1]
    places = [place for place, _ in found]
    return CodedUnit(
        counts=tuple(map(places.count, range(len(unit.files)))),
        cautions=cautions(pictures),
        held=tuple(pictures),
        used=frozenset(used),
    )


def _faults(file: PictureFile, error: PictureError) -> list[Fault]:
    return [Fault(where=file.source, message=str(fault)) for fault in error.faults]


def total(stage: StageDeclaration, seen: Iterable[Any]) -> Any:
    """Add up what a stage's survey saw, in order; None when it is nothing."""
    found = [one for one in seen if one is not None]
    return guarded(stage, partial(reduce, operator.add, found), "what it saw", hook="survey") if found else None
