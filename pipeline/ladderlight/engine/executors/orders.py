"""Tasks as orders: files by their numbers in the recipe, so that little crosses to another process."""

from collections.abc import Mapping, Sequence
from typing import Self

from ladderlight.engine.plan import Unit
from ladderlight.engine.work import Task
from ladderlight.errors import Fault, PictureError
from ladderlight.recipe import PictureFile
from ladderlight.system.frozen import Frozen


class Order(Frozen):
    """A task by the numbers of its files."""

    files: tuple[int, ...]
    still: float | None
    look: int | None
    ready: int | None

    @classmethod
    def of(cls, task: Task, numbers: Mapping[PictureFile, int]) -> Self:
        """Return the order for a task; ``numbers`` are those of the recipe's files."""
        return cls(
            files=tuple(numbers[file] for file in task.unit.files),
            still=task.unit.still,
            look=task.look,
            ready=None if task.ready is None else numbers[task.ready],
        )

    def task(self, files: Sequence[PictureFile]) -> Task:
        """Return the task, of the recipe's files."""
        unit = Unit(files=tuple(files[number] for number in self.files), still=self.still)
        return Task(unit=unit, look=self.look, ready=None if self.ready is None else files[self.ready])


def lost(task: Task) -> PictureError:
    """Return the error of pictures that workers do not survive."""
    message = "every worker process that takes it ends (out of memory, or a crash in a library); leave it out"
    files = [task.ready] if task.ready is not None else task.unit.files
    return PictureError.of(Fault(where=file.source, message=message) for file in files)
