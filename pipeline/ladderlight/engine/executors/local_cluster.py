"""A cluster of this machine, for one build."""

from __future__ import annotations

import logging
import os
import signal
from contextlib import suppress

import dask
from distributed import LocalCluster, Status

from ladderlight.storage.stopping import deaf

_WARNINGS = "PYTHONWARNINGS"
_OF_TRACKER = "ignore::UserWarning:multiprocessing.resource_tracker"
"""Python's process that cleans up after this one prints a warning when it has to, as after a stop."""
_SPARING = {
    "distributed.scheduler.work-stealing": False,
    "distributed.worker.profile.enabled": False,
    "distributed.admin.tick.interval": "200ms",
    "distributed.admin.system-monitor.interval": "10s",
}
"""The workers are alike, and nobody looks at profiles and loads: all take time of the processors that workers need."""


def local_cluster(workers: int, folder: str) -> LocalCluster:
    """Start a cluster here. It is ended by this process, and by nobody who presses Ctrl-C."""
    before = os.environ.get(_WARNINGS)
    os.environ[_WARNINGS] = ",".join(filter(None, (before, _OF_TRACKER)))
    try:
        with deaf(), dask.config.set(_SPARING):
            return LocalCluster(
                n_workers=workers,
                threads_per_worker=1,
                memory_limit=0,
                dashboard_address="127.0.0.1:0",  # any free port; None would be 8787, for all to see
                worker_dashboard_address=None,
                silence_logs=logging.CRITICAL,
                local_directory=folder,
                env=dict.fromkeys(("TMPDIR", "TEMP", "TMP"), folder),
            )
    finally:
        os.environ.pop(_WARNINGS)
        os.environ.update({} if before is None else {_WARNINGS: before})


def kill(local: LocalCluster | None) -> None:
    """End the workers at once; those that have not come yet see that this process ends."""
    for nanny in local.workers.values() if local else ():
        nanny.status = Status.failed  # so that it begins no other, which would fail loudly as this process ends
        with suppress(OSError, AttributeError, TypeError):  # it has ended already
            os.kill(nanny.pid, signal.SIGKILL)


def silence() -> None:
    """Leave it to the build to report what goes wrong."""
    for name in list(logging.root.manager.loggerDict):
        if name.partition(".")[0] in ("asyncio", "distributed"):
            logging.getLogger(name).setLevel(logging.CRITICAL)
