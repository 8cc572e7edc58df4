"""What commands print: documents and tables to stdout, progress and messages to stderr."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from ladderlight.commands.report_stream import report_stream

if TYPE_CHECKING:
    from rich.console import Console

    from ladderlight.board import Finding
    from ladderlight.engine import Progress
    from ladderlight.errors import Fault
    from ladderlight.pictures import ByteOrder

_PIPE = 1000
"""Width of a line where there is no terminal: nothing of a table is folded or cut there."""

STYLES = {"error": "bold red", "caution": "yellow", "note": "cyan"}


def stdout() -> Console:
    """Give the console for reports. Colour and width follow the terminal; ``NO_COLOR`` and a pipe are respected."""
    from rich.console import Console

    if report_stream().isatty():
        return Console(file=report_stream(), highlight=False)
    return Console(file=report_stream(), highlight=False, soft_wrap=True, width=_PIPE)


def stderr() -> Console:
    """Give the console for messages."""
    from rich.console import Console

    return Console(file=sys.stderr, highlight=False, soft_wrap=True)


def print_document(document: Mapping[str, Any]) -> None:
    """Print one JSON document to stdout."""
    report_stream().write(json.dumps(document, indent=2, ensure_ascii=False) + "\n")


def print_faults(faults: Iterable[Fault]) -> None:
    """Print what went wrong as one JSON document of findings to stdout."""
    print_document({"ok": False, "findings": [{"level": "error", **asdict(fault)} for fault in faults]})


def print_findings(console: Console, found: Iterable[Finding]) -> None:
    """Print findings, one line each."""
    from rich.text import Text

    for finding in found:
        text = Text()
        text.append(f"{finding.level:8}", style=STYLES[finding.level])
        text.append(f"{finding.where}: ", style="bold")
        text.append(finding.message)
        console.print(text)


def byte_order(big_endian: bool | None) -> ByteOrder | None:  # noqa: FBT001 - as the option is
    """Name the byte order of ``--big-endian`` or ``--little-endian``; None for neither."""
    return None if big_endian is None else "big" if big_endian else "little"


@contextmanager
def picture_progress() -> Iterator[Progress | None]:
    """Show progress over pictures on stderr: a bar on a terminal, nothing in a pipe."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("pictures"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        TextColumn("{task.description}"),
    )
    with Progress(*columns, console=stderr(), transient=True) as bar:
        task = bar.add_task("", total=None)

        def advance(done: int, total: int, source: str) -> None:
            bar.update(task, completed=done, total=total, description=source)

        yield advance
