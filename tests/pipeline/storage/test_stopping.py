"""Threads that a stop leaves behind."""

from __future__ import annotations

import subprocess
import sys
import threading

import pytest

from ladderlight.storage.stopping import stoppable, worker_threads, workers_left


def test_a_stop_leaves_threads_behind_and_cancels_what_waits() -> None:
    go, done = threading.Event(), []
    with pytest.raises(KeyboardInterrupt), worker_threads(1) as pool:
        first = pool.submit(lambda: done.append(go.wait(60)))
        second = pool.submit(lambda: done.append("second"))
        raise KeyboardInterrupt
    assert workers_left()
    assert (first.cancelled(), second.cancelled(), done) == (False, True, [])
    go.set()
    first.result(60)
    for thread in threading.enumerate():
        if thread.name.startswith("ladderlight worker"):
            thread.join(60)
    assert done == [True]
    assert not workers_left()


def test_an_error_waits_for_the_threads() -> None:
    begun, done = threading.Event(), []
    with pytest.raises(ValueError, match="bad"), worker_threads(2) as pool:
        pool.submit(lambda: (begun.set(), done.append(threading.Event().wait(0.1))))
        begun.wait(60)
        raise ValueError("bad")
    assert done == [False]
    assert not workers_left()


def test_a_call_in_a_thread_of_its_own_gives_its_result_or_its_error() -> None:
    assert stoppable(lambda: threading.current_thread() is threading.main_thread()) is False
    with pytest.raises(ZeroDivisionError):
        stoppable(lambda: 1 // 0)


@pytest.mark.skipif(sys.platform == "win32", reason="no masks there")
def test_processes_that_begin_deaf_do_not_hear_ctrl_c() -> None:
    # In a program of its own, where the tracker that Python begins before the first process is not there yet.
    code = """
import multiprocessing.resource_tracker, signal
from ladderlight.storage.stopping import deaf
with deaf():
    multiprocessing.resource_tracker.ensure_running()
    print(signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, []))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True"]
