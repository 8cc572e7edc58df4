"""The engine: runs a recipe's chain over its pictures, arranges them, and emits device files.

What works on pictures is imported when there is work: a check runs arrangements and emissions alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from ladderlight.board.scanning.sheets import blank_sheet
from ladderlight.devices.files import name_files
from ladderlight.engine.board_use import KnownUses
from ladderlight.engine.plan import Fold, Plan, Unit
from ladderlight.errors import BuildError, Fault, PictureError, StageFailure
from ladderlight.flow.merging import carry_timing, darken, merge
from ladderlight.flow.pictures import CodedPicture, Contents, DeviceFile, MemoryContents
from ladderlight.recipe import PictureFile, Recipe
from ladderlight.recipe.language.model import StageUse
from ladderlight.stages.boundary import run_stage
from ladderlight.stages.kinds import Kind
from ladderlight.system.frozen import Frozen

if TYPE_CHECKING:
    from ladderlight.cache.marks import Seen
    from ladderlight.cache.store import Cache
    from ladderlight.engine.coded import CodedPictures, CodedUnit
    from ladderlight.engine.executors import Executor
    from ladderlight.engine.work import Work


Progress = Callable[[int, int, str], None]
"""Called with how many pictures are done, how many there are, and the source of the one just done.

A stage that looks at all pictures first makes each count twice.
"""

Refused = Callable[[Fault], None]
"""Called with what is wrong with a picture as soon as that is known."""


class Chain(Frozen):
    """A recipe's chain at work."""

    recipe: Recipe
    cache: Cache | None = None
    """Where results are looked for and kept. Without one they wait in a temporary folder."""
    seen: Mapping[str, Seen] = field(default_factory=dict)
    """The files as they were read, by the names that the recipe has for them; results of others are not kept."""

    @cached_property
    def plan(self) -> Plan:
        """The plan of the recipe's pictures."""
        return Plan(recipe=self.recipe, seen=self.seen)

    def code_pictures(
        self,
        files: Sequence[PictureFile] | None = None,
        *,
        workers: int | None = None,
        progress: Progress | None = None,
        refused: Refused | None = None,
        executor: Executor | None = None,
        keep_going: bool = False,
    ) -> CodedPictures:
        """Run the stages up to the coded pictures over all files, or some; by default on a pool of threads.

        ``files`` has all files of an animation, or none. The result does not depend on ``executor`` or ``workers``
        (default: the number of processors). With ``keep_going``, units with a picture that cannot be used are left out.

        Raises PictureError when pictures cannot be used: all of them, one line each, after all have been tried.
        """
        from ladderlight.cache.store import Cache
        from ladderlight.engine.coded import CodedPictures
        from ladderlight.engine.executors.threads import Threads
        from ladderlight.engine.work import Task, Work, total

        files, plan = self.recipe.files if files is None else files, self.plan
        cache = self.cache or Cache.for_one_build()
        work = Work(plan=plan, cache=cache, uses=KnownUses(cache=cache), spare=Cache.for_spare())
        if not files:
            return CodedPictures({}, (), work.in_memory)
        executor = executor or Threads(workers=workers)
        looks = {at: _looked(plan, at) for at in plan.looks}
        steps = _Steps(
            count=len(files) + sum(len(unit.files) for units in looks.values() for unit in units), progress=progress
        )
        for at, units in looks.items():
            seen: dict[PictureFile, Any] = {}
            for unit, found in zip(units, executor.run(work, [Task(unit=u, look=at) for u in units]), strict=True):
                seen |= found if isinstance(found, dict) else {}  # what is wrong is reported when it is coded
                steps.finish(unit)
            stage = self.recipe.chain[at].declaration
            fold = Fold.of(total(stage, (seen[file] for file in self.recipe.files if file in seen)))
            work = replace(work, folds={**work.folds, at: fold})
        chosen = set(files)
        units = [unit for unit in plan.units if chosen.issuperset(unit.files)]
        coded, faults = _coded(work, units, executor, steps, refused, keep_going=keep_going)
        return CodedPictures(coded, files, work.in_memory, faults=faults)

    def arrange(self, coded: Sequence[CodedPicture]) -> Contents:
        """Run the arrangement stages over all coded pictures, merge what they place, and add what the board needs.

        That is black during blanking, and the levels of timing lines.
        """
        uses = list(self._uses(Kind.ARRANGEMENT))
        parts = [self._run(use, coded, "the pictures") for use in uses]
        board = self.recipe.board
        merged = merge(parts, board, stages=[use.declaration.name for use in uses])
        return carry_timing(darken(merged, board), board)

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
            for file in self._run(use, contents, "the contents"):
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
        return name_files([file for _, file in files.values()], self.recipe.name)

    def planned_files(self) -> list[DeviceFile]:
        """Run the emission stages on empty memories: names and spans of the files are those of a build.

        There are none when a stage of the project's own fails without pictures. Raises as :meth:`emit`.
        """
        sheets = {memory.name: blank_sheet(memory) for memory in self.recipe.board.memories}
        memories = {name: MemoryContents(words=each.words, written=each.written) for name, each in sheets.items()}
        try:
            return self.emit(Contents(memories=memories))
        except StageFailure:
            return []

    def _uses(self, kind: Kind) -> Iterable[StageUse]:
        return (use for use in self.recipe.chain if use.declaration.kind is kind)

    def _run(self, use: StageUse, value: Any, what: str) -> Any:
        recipe = self.recipe
        return run_stage(use.declaration, value, recipe.board, use.options, what, viewing=recipe.viewing)


@dataclass(kw_only=True)
class _Steps:
    """Counts the files that are done."""

    count: int
    progress: Progress | None
    done: int = 0

    def finish(self, unit: Unit) -> None:
        """Count the files of a unit."""
        for file in unit.files:
            self.done += 1
            if self.progress:
                self.progress(self.done, self.count, file.source)


def _looked(plan: Plan, at: int) -> list[Unit]:
    """List what a survey looks at: files, or after the reduction, where frames keep codes, whole units."""
    looked = plan.looks[at]
    if at <= plan.reduction:
        return [Unit(files=(file,)) for file in plan.recipe.files if file in looked]
    return [unit for unit in plan.units if looked.intersection(unit.files)]


def _coded(
    work: Work, units: Sequence[Unit], executor: Executor, steps: _Steps, refused: Refused | None, *, keep_going: bool
) -> tuple[dict[Unit, CodedUnit], list[Fault]]:
    """Code units, and list what is wrong. Files of an animation are first made ready one by one, all of them at once.

    Raises PictureError when something is wrong, unless ``keep_going``.
    """
    from ladderlight.engine.coded import CodedUnit
    from ladderlight.engine.work import Task

    single = [unit for unit in units if len(unit.files) == 1]
    several = [unit for unit in units if len(unit.files) > 1]
    early = [Task(unit=unit) for unit in single]
    early += [Task(unit=unit, ready=file) for unit in several for file in unit.files]
    coded: dict[Unit, CodedUnit] = {}
    bad: dict[str, list[Fault]] = {}
    for tasks in (early, [Task(unit=unit) for unit in several]):
        for task, found in zip(tasks, executor.run(work, tasks), strict=True):
            if task.ready is None:
                steps.finish(task.unit)
            if isinstance(found, CodedUnit):
                coded[task.unit] = found
            for fault in found.faults if isinstance(found, PictureError) else ():
                bad.setdefault(fault.where, []).append(fault)
                if refused:
                    refused(fault)
    faults = [fault for file in work.plan.recipe.files for fault in bad.get(file.source, ())]
    if faults and not keep_going:
        raise PictureError.of(faults)
    return coded, faults
