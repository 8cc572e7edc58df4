"""Where reports go: stdout, which is kept from everything else while a command runs.

Stages of plugins run inside a command and may print. Nothing but reports may reach stdout, so ``sys.stdout`` is stderr
for as long as a command runs.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import redirect_stdout
from functools import wraps
from typing import Any, TextIO

_kept: list[TextIO] = []


def report_stream() -> TextIO:
    """Return the stream for reports: the stdout that the running command was started with."""
    return _kept[-1] if _kept else sys.stdout


def keeps_stdout(command: Callable[..., None]) -> Callable[..., None]:
    """Return a command that keeps stdout for its reports."""

    @wraps(command)
    def run(*arguments: Any, **options: Any) -> None:
        _kept.append(sys.stdout)
        try:
            with redirect_stdout(sys.stderr):
                command(*arguments, **options)
        finally:
            _kept.pop()

    return run
