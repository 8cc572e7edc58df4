"""The exit status and the lines of a command that fails."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Iterable, Sequence

from ladderlight.commands.terminal.folding import folded, width_of
from ladderlight.errors import Fault, LadderlightError, StageFailure
from ladderlight.system.paths import reason_of
from ladderlight.system.printable import printable

BUG = 3


def failure_of(error: BaseException) -> tuple[int, Sequence[Fault]]:
    """Return the exit status for an error, and its faults. The traceback of a bug is printed."""
    if isinstance(error, LadderlightError):
        return error.exit_status, error.faults
    if isinstance(error, OSError) and isinstance(error.filename, str):
        message = f"cannot be used ({reason_of(error)}); check the path and its permissions"
        return 1, [Fault(where=error.filename, message=message)]
    if isinstance(error, StageFailure):
        _print_traceback(error.__cause__ or error)
        return BUG, [Fault(where="", message=f"bug: {error}")]
    _print_traceback(error)
    what = f"bug: {type(error).__name__}: {error}; please report it with the lines above"
    return BUG, [Fault(where="", message=what)]


def print_lines(faults: Iterable[Fault]) -> None:
    """Print faults to stderr, one line each, folded on a terminal."""
    for fault in faults:
        for line in lines_of(fault):
            _print(line)


def lines_of(fault: Fault) -> Sequence[str]:
    """Return the lines of a fault on stderr. Where it is, such as a path, stays in one piece."""
    return folded(printable(str(fault)), width_of(sys.stderr), [f"{printable(str(fault.where))}:"])


def _print_traceback(error: BaseException) -> None:
    for line in "".join(traceback.format_exception(error)).splitlines():
        _print(printable(line))


def _print(line: str) -> None:
    print(line, file=sys.stderr)  # noqa: T201
