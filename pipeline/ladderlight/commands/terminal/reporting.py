"""What commands print: documents and tables to stdout, progress and messages to stderr."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from ladderlight.commands.terminal.report_stream import report_stream
from ladderlight.system.printable import json_text, printable

if TYPE_CHECKING:
    from rich.console import Console

    from ladderlight.board import Finding
    from ladderlight.engine.runner import Progress
    from ladderlight.errors import Fault
    from ladderlight.flow.pictures import ByteOrder

STYLES = {"error": "bold red", "caution": "yellow", "note": "cyan"}


def stdout(*, quiet: bool = False) -> Console:
    """Return the console for reports. Colour follows the terminal; ``NO_COLOR`` and a pipe are respected."""
    from ladderlight.commands.terminal.console import LineConsole

    return LineConsole(report_stream(), quiet=quiet)


def stderr(*, quiet: bool = False) -> Console:
    """Return the console for messages."""
    from ladderlight.commands.terminal.console import LineConsole

    return LineConsole(sys.stderr, quiet=quiet)


def print_document(document: Mapping[str, Any]) -> None:
    """Print one JSON document to stdout."""
    stream, text = report_stream(), json_text(document)
    try:
        text.encode(stream.encoding or "utf-8")
    except UnicodeEncodeError:  # the stream's own escapes are not JSON
        text = json.dumps(document, indent=2) + "\n"
    stream.write(text)


def print_faults(faults: Iterable[Fault]) -> None:
    """Print faults as one JSON document of findings to stdout."""
    print_document({"ok": False, "findings": [{"level": "error", **asdict(fault)} for fault in faults]})


def print_findings(console: Console, found: Iterable[Finding]) -> None:
    """Print findings, one line each."""
    from rich.text import Text

    for finding in found:
        text = Text()
        text.append(f"{finding.level:8}", style=STYLES[finding.level])
        text.append(f"{printable(finding.where)}: ", style="bold")
        text.append(printable(finding.message))
        console.print(text)


def byte_order(big_endian: bool | None) -> ByteOrder | None:  # noqa: FBT001 - as the option is
    """Name the byte order of ``--big-endian`` or ``--little-endian``; None for neither."""
    return None if big_endian is None else "big" if big_endian else "little"


@contextmanager
def picture_progress(*, quiet: bool = False) -> Iterator[Progress | None]:
    """Show progress over pictures on stderr: a bar on a terminal, nothing in a pipe."""
    if quiet or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("pictures"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        TextColumn("{task.description}", markup=False),
    )
    # Unlike lines, a bar has the width of the terminal.
    with Progress(*columns, console=Console(file=sys.stderr, emoji=False), transient=True) as bar:
        task = bar.add_task("", total=None)

        def advance(done: int, total: int, source: str) -> None:
            bar.update(task, completed=done, total=total, description=printable(source))

        yield advance
