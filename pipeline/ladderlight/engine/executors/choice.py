"""Which executor works on a build."""

from __future__ import annotations

from contextlib import AbstractContextManager, nullcontext

from ladderlight.engine.executors import Executor
from ladderlight.errors import BuildError


def executor_of(
    workers: int | None = None, *, processes: bool = False, cluster: str | None = None
) -> AbstractContextManager[Executor]:
    """Return threads, processes or a cluster, to be entered.

    Raises
    ------
    BuildError
        When there is no such cluster, or what it needs is not installed; some only on entering.
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
