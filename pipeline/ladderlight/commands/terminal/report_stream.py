"""Where reports go: stdout, which is kept from everything else while a command runs.

Stages of plugins run inside a command and may print. Nothing but reports may reach stdout, so ``sys.stdout`` is stderr
for as long as a command runs. What is not written in Python writes to file 1 itself: for a command with ``--json`` that
is stderr's file too, until the report comes.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, redirect_stdout, suppress
from functools import wraps
from typing import Any, TextIO

_kept: list[TextIO] = []
_diverted = ExitStack()
"""Ends the diversion of file 1."""


def report_stream() -> TextIO:
    """Return the stream for reports: the stdout that the running command was started with."""
    _diverted.close()
    return _kept[-1] if _kept else sys.stdout


def keeps_stdout(command: Callable[..., None]) -> Callable[..., None]:
    """Return a command that keeps stdout for its reports."""

    @wraps(command)
    def run(*arguments: Any, **options: Any) -> None:
        _kept.append(sys.stdout)
        try:
            with redirect_stdout(sys.stderr), _diverted:
                if options.get("json_"):
                    _kept[-1].flush()
                    _diverted.enter_context(_file_1_to_stderr())
                command(*arguments, **options)
        finally:
            _kept.pop()

    return run


@contextmanager
def _file_1_to_stderr() -> Iterator[None]:
    """Have whatever writes to file 1 write to stderr, or to nowhere where stderr is closed."""
    with ExitStack() as stack:
        with suppress(OSError):  # file 1 is closed: there is nothing to keep
            os.fstat(1)
            try:
                os.fstat(2)
                other = 2
            except OSError:
                other = os.open(os.devnull, os.O_WRONLY)
                stack.callback(os.close, other)
            kept = os.dup(1)
            stack.callback(os.close, kept)
            os.dup2(other, 1)
            stack.callback(os.dup2, kept, 1)
            stack.callback(_flush_c)
        yield


def _flush_c() -> None:
    """Write what programs in C have printed, which waits in a buffer of theirs when stdout is not a terminal."""
    with suppress(OSError, TypeError, AttributeError, ImportError):  # a system without one C library for all
        import ctypes

        ctypes.CDLL(None).fflush(None)
