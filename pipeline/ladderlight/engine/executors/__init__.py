"""Where the tasks of a plan are worked out: each module has one way, all of them give the same results."""

from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from typing import Any, Protocol

from ladderlight.engine.work import Task, Work
from ladderlight.errors import BuildError


class Executor(Protocol):
    """Works out tasks that do not need each other's results."""

    def run(self, work: Work, tasks: Sequence[Task]) -> Iterator[Any]:
        """Yield the result of each task, in the order of the tasks, or the ``PictureError`` in its place.

        Whatever else a task raises is raised here. Tasks that have not begun are given up then, and when the iterator
        is closed.
        """
        ...


def executor_of(
    workers: int | None = None, *, processes: bool = False, cluster: str | None = None
) -> AbstractContextManager[Executor]:
    """Return threads, processes or a cluster, to be entered.

    Raises BuildError when there is no such cluster, or what it needs is not installed; some only on entering.
    """
    if cluster is not None:
        try:
            from ladderlight.engine.executors.cluster import on_cluster
        except ModuleNotFoundError as error:
            if error.name not in ("dask", "distributed"):
                raise
            message = "needs the package distributed; install it with: pip install 'ladderlight[cluster]'"
            raise BuildError(message, where="--cluster") from error
        return on_cluster(cluster, workers)
    if processes:
        from ladderlight.engine.executors.processes import on_processes

        return on_processes(workers)
    from ladderlight.engine.executors.threads import Threads

    return nullcontext(Threads(workers=workers))
