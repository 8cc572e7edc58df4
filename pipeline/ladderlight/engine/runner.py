"""The engine: runs a recipe's chain over its pictures and writes what comes out, all of it or nothing."""

from __future__ import annotations

import operator
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, replace
from functools import partial, reduce
from typing import Any

from ladderlight.board import Board
from ladderlight.devices.files import name_files
from ladderlight.engine.checkpoints import Checkpoint, CheckpointStore
from ladderlight.engine.sequences import FrameSequence, frame_sequences
from ladderlight.errors import BuildError, Fault, PictureError
from ladderlight.flow.merging import darken, merge
from ladderlight.flow.pictures import CodedPicture, Contents, DeviceFile, Picture
from ladderlight.recipe import PictureFile, Recipe
from ladderlight.recipe.headers import origin_of, unique_names
from ladderlight.recipe.language.model import StageUse
from ladderlight.stages.boundary import animation_of, demand_of, guarded, look_of, open_file, run_stage
from ladderlight.stages.contract import Demand, Kept, Look, Survey
from ladderlight.stages.declaration import StageDeclaration
from ladderlight.stages.kinds import Kind
from ladderlight.storage.stopping import worker_threads

Progress = Callable[[int, int, str], None]
"""Called with how many pictures are done, how many there are, and the source of the one just done.

A stage that looks at all pictures first makes each count twice.
"""
Refused = Callable[[Fault], None]
"""Called with what is wrong with a picture as soon as that is known."""
Surveys = Mapping[int, Survey]
"""What the surveys of a chain's stages saw, by the stage's index."""


@dataclass(frozen=True, kw_only=True)
class Chain:
    """A recipe's chain at work."""

    recipe: Recipe

    @property
    def board(self) -> Board:
        """The recipe's board."""
        return self.recipe.board

    def code_pictures(
        self, *, workers: int | None = None, progress: Progress | None = None, refused: Refused | None = None
    ) -> list[CodedPicture]:
        """Run the stages up to the coded pictures over all files, on a pool of threads.

        The result does not depend on ``workers`` (default: the number of processors).

        Raises
        ------
        PictureError
            When pictures cannot be used: all of them, one line each, after all have been tried.
        """
        files = self.recipe.files
        if not files:
            return []
        names = unique_names(files)
        looks = {at: found for at in range(len(self.recipe.chain)) if (found := self._looks(at))}
        # Frames may keep codes of the file before, so that what a stage sees after the reduction needs all files.
        looked = sum(len(files) if at > self._reduction else len(look_of) for at, look_of in looks.items())
        steps = _Steps(count=len(files) + looked, progress=progress)
        surveys: dict[int, Survey] = {}
        store = CheckpointStore()
        coded: dict[str, list[CodedPicture]] = {}
        bad: list[Fault] = []
        with worker_threads(workers or os.cpu_count() or 1) as pool:
            for at, look_of in looks.items():
                going = _Pass(surveys=dict(surveys), store=store, sequences=self._sequences(names))
                seen = {
                    file: pool.submit(self._see, file, names[file], at, look_of.get(file), going)
                    for file in (files if at > self._reduction else look_of)
                }
                totals = [steps.result(file, future) for file, future in seen.items()]
                surveys[at] = Survey(total=_total(self.recipe.chain[at].declaration, totals))
            going = _Pass(surveys=surveys, store=store, sequences=self._sequences(names))
            futures = {file: pool.submit(self._code, file, names[file], going) for file in files}
            for file, future in futures.items():
                try:
                    coded[names[file]] = steps.result(file, future)
                except PictureError as error:
                    faults = [Fault(where=file.source, message=str(fault)) for fault in error.faults]
                    bad += faults
                    for fault in faults:
                        if refused:
                            refused(fault)
        if bad:
            raise PictureError.of(bad)
        for sequence in dict.fromkeys(going.sequences.values()):
            coded |= sequence.with_flicker(coded)
        return [picture for name in names.values() for picture in coded[name]]

    def _sequences(self, names: Mapping[PictureFile, str]) -> dict[str, FrameSequence]:
        """Return each file's sequence, by the name of its pictures."""
        animations = (
            animation_of(use.declaration, self.board, use.options, viewing=self.recipe.viewing)
            for use in self._uses(Kind.ARRANGEMENT)
        )
        sequences = frame_sequences({name: file.source for file, name in names.items()}, [*filter(None, animations)])
        return {name: sequence for sequence in sequences for name in sequence.names}

    def _looks(self, at: int) -> dict[PictureFile, Look]:
        """Return the surveys that a stage needs, by file."""
        stage, options = self.recipe.chain[at].declaration, self.recipe.options_for
        viewing = self.recipe.viewing
        looks = {
            file: look_of(stage, self.board, options(file, at), file.source, viewing=viewing)
            for file in self.recipe.files
        }
        return {file: look for file, look in looks.items() if look is not None}

    def _see(self, file: PictureFile, name: str, at: int, look: Look | None, going: _Pass) -> Any:
        """Look at a file's pictures as they reach a stage. One that cannot be used is reported when it is coded."""
        stage = self.recipe.chain[at].declaration
        try:
            pictures = self._run_file(file, name, going, until=at)
            seen = [guarded(stage, partial(look, picture), file.source, hook="survey") for picture in pictures if look]
            total = _total(stage, seen)
        except PictureError:
            return None
        if at <= self._reduction:
            going.store.put(name, Checkpoint(at=at, pictures=pictures))
        return total

    def _code(self, file: PictureFile, name: str, going: _Pass) -> list[CodedPicture]:
        coded = self._run_file(file, name, going, until=len(self.recipe.chain))
        return [picture for picture in coded if isinstance(picture, CodedPicture)]

    def _run_file(self, file: PictureFile, name: str, going: _Pass, *, until: int) -> Sequence[Picture | CodedPicture]:
        """Run the stages that see one picture at a time over a file, from where its pictures are, up to an index."""
        sequence = going.sequences[name]
        try:
            checkpoint = going.store.take(name)
            # Frames go through the stages one by one: in full size they are never held together.
            reached: Iterable[Any] = checkpoint.pictures if checkpoint else self._open(file, name, sequence)
            for at in range(checkpoint.at if checkpoint else 1, until):
                use = self.recipe.chain[at]
                if use.declaration.kind.per_picture:
                    run = partial(self._run_picture, file, at, survey=going.surveys.get(at))
                    reached = sequence.reduce(name, list(reached), run) if at == self._reduction else map(run, reached)
            return list(reached)
        finally:
            sequence.close(name)

    def _run_picture(self, file: PictureFile, at: int, value: Any, kept: Kept | None = None, **given: Any) -> Any:
        options = self.recipe.options_for(file, at)
        return self._run(self.recipe.chain[at], value, options, file.source, kept=kept, **given)

    @property
    def _reduction(self) -> int:
        """Index of the reduction in the chain."""
        return next(at for at, use in enumerate(self.recipe.chain) if use.declaration.kind is Kind.REDUCTION)

    def _open(self, file: PictureFile, name: str, sequence: FrameSequence) -> Iterator[Picture]:
        """Run the source stage and yield its pictures."""
        source, options = self.recipe.chain[0].declaration, self.recipe.options_for(file, 0)
        given = {"viewing": self.recipe.viewing, "demand": self._demand(file)}
        for index, frame in enumerate(open_file(source, file.path, self.board, options, file.source, **given)):
            origin = origin_of(self.recipe, file, name, index)
            duration = frame.origin.duration
            animated = sequence.animated or duration is not None
            yield replace(frame, origin=replace(origin, duration=duration, animated=animated))

    def _demand(self, file: PictureFile) -> Demand:
        """Return the size that the first picture stage needs, by the demands from last to first."""
        demand = Demand()
        for at, use in reversed(list(enumerate(self.recipe.chain))):
            if use.declaration.kind is Kind.PICTURE:
                options = self.recipe.options_for(file, at)
                demand = demand_of(
                    use.declaration, demand, self.board, options, file.source, viewing=self.recipe.viewing
                )
        return demand

    def arrange(self, coded: Sequence[CodedPicture]) -> Contents:
        """Run the arrangement stages over all coded pictures, merge what they place, and keep blanking dark."""
        uses = list(self._uses(Kind.ARRANGEMENT))
        parts = [self._run(use, coded, use.options, "the pictures") for use in uses]
        return darken(merge(parts, self.board, stages=[use.declaration.name for use in uses]), self.board)

    def emit(self, contents: Contents) -> list[DeviceFile]:
        """Run the emission stages, and put the project's name into the file names.

        Raises
        ------
        BuildError
            When two files would have one name.
        DeviceFileError
            When a name would leave the folder.
        """
        files: dict[str, tuple[StageUse, DeviceFile]] = {}
        for use in self._uses(Kind.EMISSION):
            for file in self._run(use, contents, use.options, "the contents"):
                key = file.name.casefold()
                if key in files and files[key][0] is use:
                    raise BuildError(
                        f"stage {use.declaration.name!r} would write several files to devices/{file.name}; put "
                        "{device} or {piece} into its name pattern"
                    )
                if key in files:
                    raise BuildError(
                        f"stages {files[key][0].declaration.name!r} and {use.declaration.name!r} would both write "
                        f"devices/{file.name}; give one of them another name pattern"
                    )
                files[key] = (use, file)
        return name_files((file for _, file in files.values()), self.recipe.name)

    def _uses(self, kind: Kind) -> Iterable[StageUse]:
        return (use for use in self.recipe.chain if use.declaration.kind is kind)

    def _run(
        self,
        use: StageUse,
        value: Any,
        options: Mapping[str, Any],
        what: str,
        **given: Any,
    ) -> Any:
        return run_stage(use.declaration, value, self.board, options, what, viewing=self.recipe.viewing, **given)


@dataclass(frozen=True, kw_only=True)
class _Pass:
    """What the files of one pass through a chain have in common."""

    surveys: Surveys
    store: CheckpointStore
    sequences: Mapping[str, FrameSequence]


@dataclass(kw_only=True)
class _Steps:
    """Counts the pictures that are done."""

    count: int
    progress: Progress | None
    done: int = 0

    def result(self, file: PictureFile, future: Future[Any]) -> Any:
        """Wait for a file, count it, and return its result."""
        try:
            return future.result()
        finally:
            self.done += 1
            if self.progress:
                self.progress(self.done, self.count, file.source)


def _total(stage: StageDeclaration, seen: Iterable[Any]) -> Any:
    """Add up what a stage's survey saw, in order; None when it is nothing."""
    found = [one for one in seen if one is not None]
    return guarded(stage, lambda: reduce(operator.add, found), "what it saw", hook="survey") if found else None
