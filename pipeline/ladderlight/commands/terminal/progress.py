"""Progress over pictures, on stderr: a bar on a terminal, now and then a line elsewhere."""

from __future__ import annotations

import sys
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from ladderlight.commands.terminal.reporting import lines_of
from ladderlight.system.printable import printable

if TYPE_CHECKING:
    from ladderlight.engine.runner import Progress, Refused
    from ladderlight.errors import Fault

PERIOD = 10.0
"""Seconds between two lines where there is no terminal; a shorter build prints none."""

_WINDOW = 60.0  # seconds of which the rate is shown


@contextmanager
def picture_progress(*, quiet: bool = False) -> Iterator[tuple[Progress | None, Refused | None]]:
    """Show how many pictures are done, how fast, and how long the rest will take; print bad pictures at once.

    Yield what a build calls for each picture, and for each that cannot be used; nothing if ``quiet``.
    """
    if quiet:
        yield None, None
    elif sys.stderr.isatty():
        with _bar() as shown:
            yield shown.advance, shown.refuse
    else:
        lines = _Lines(sys.stderr.write)
        yield lines.advance, lines.refuse


def pace(done: int, total: int, seconds: float) -> str:
    """Return the rate so far and the time that the rest will take at that rate, in words."""
    if not done or seconds <= 0:
        return ""
    rate, left = done / seconds, round((total - done) * seconds / done)
    rated = f"{rate:.3g} a second" if rate >= 1 else f"{1 / rate:.3g} s each"
    hours, minutes = divmod(left // 60, 60)
    clock = f"{hours}:{minutes:02}" if hours else f"{minutes}"
    return f"{rated}, {clock}:{left % 60:02} left"


class _Lines:
    """Progress in lines, which ``write`` takes."""

    def __init__(self, write: Callable[[str], object]) -> None:
        self.write = write
        self._printed = time.monotonic()
        self._counted: deque[tuple[float, int]] = deque()
        self._last = False

    def advance(self, done: int, total: int, source: str) -> None:
        """Show the pace of the last minute, since the first picture.

        Before that one, loops may have been compiled; pictures that were kept come all at once.
        """
        self._last, now = done == total, time.monotonic()
        self._counted.append((now, done))
        while now - self._counted[0][0] > _WINDOW:
            self._counted.popleft()
        began, before = self._counted[0]
        self.show(done, total, source, pace(done - before, total - before, now - began))

    def show(self, done: int, total: int, _source: str, paced: str) -> None:
        now = self._counted[-1][0]
        if now - self._printed >= PERIOD:
            self._printed = now
            self.write(f"{done:,} of {total:,} pictures{f', {paced}' if paced else ''}\n")

    def refuse(self, fault: Fault) -> None:
        if not self._last:  # after the last picture, all bad ones are listed
            self.write("".join(f"{line}\n" for line in lines_of(fault)))


@contextmanager
def _bar() -> Iterator[_Lines]:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (
        TextColumn("pictures"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[pace]}", markup=False),
        TextColumn("{task.description}", markup=False),
    )
    # Unlike lines, a bar has the width of the terminal.
    console = Console(file=sys.stderr, emoji=False, markup=False, highlight=False, soft_wrap=True)
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("", total=None, pace="")

        class Bar(_Lines):
            def show(self, done: int, total: int, source: str, paced: str) -> None:
                bar.update(task, completed=done, total=total, description=printable(source), pace=paced)

        yield Bar(lambda line: bar.print(line, end=""))
