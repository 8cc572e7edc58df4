"""What commands print: documents and tables to stdout; messages, and how a command has failed, to stderr."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from ladderlight.commands.terminal.folding import fold, folded, width_of
from ladderlight.commands.terminal.streams import report_stream
from ladderlight.errors import Fault, LadderlightError, StageFailure
from ladderlight.system.paths import reason_of
from ladderlight.system.printable import json_text, printable

if TYPE_CHECKING:
    from rich.table import Table

    from ladderlight.board import Finding
    from ladderlight.flow.pictures import ByteOrder

_WIDE = 1000  # width of what is not printed to a terminal: no table is narrowed there

Parts = Sequence[tuple[str, str]]
"""A text in parts, each with its style: words such as ``"bold red"``, or none."""
_LEVEL = 8  # columns of a finding's level
STYLES = {"error": "bold red", "caution": "yellow", "note": "cyan"}
BUG = 3


class LineConsole:
    """A console to which a text is one line, whatever characters are in it; none of them means anything.

    On a terminal lines are folded between words, but a :class:`Path` and what is ``whole`` stay in one piece.
    """

    def __init__(self, stream: TextIO, *, quiet: bool = False) -> None:
        """Write to a stream, or to nowhere."""
        self.columns = width_of(stream)
        self._stream, self._quiet = stream, quiet
        plain = os.environ.get("NO_COLOR") or os.environ.get("TERM") in ("dumb", "unknown")
        self._styled = stream.isatty() and not plain

    def print(
        self,
        *objects: str | Path | Parts | Table,
        style: str = "",
        whole: Sequence[str] = (),
        hanging: int | None = None,
    ) -> None:
        """Print texts, paths and tables, a line each; an empty line without any.

        ``style`` is that of all texts that are not in parts, ``whole`` are parts of them that are not folded, and
        ``hanging`` the spaces before the second line of a text and those after; see :func:`fold`.
        """
        for each in () if self._quiet else objects or ("",):
            if isinstance(each, Path):
                self._write(printable(str(each)))
            elif isinstance(each, str | Sequence):
                self._write_text([(each, style)] if isinstance(each, str) else each, whole, hanging)
            else:
                from rich.console import Console

                plain = Console(file=self._stream, width=self.columns or _WIDE, no_color=not self._styled)
                plain.print(each, soft_wrap=True)

    def _write_text(self, parts: Parts, whole: Sequence[str], hanging: int | None) -> None:
        shown = [(printable(text), style if self._styled else "") for text, style in parts]
        spans, indent = fold("".join(text for text, _ in shown), self.columns, [*map(printable, whole)], hanging)
        for number, (begin, end) in enumerate(spans):
            line, at = " " * indent * (number > 0), 0
            for text, style in shown:
                line += _dressed(text[max(begin - at, 0) : max(end - at, 0)], style)
                at += len(text)
            self._write(line)

    def _write(self, line: str) -> None:
        if "\033" not in line:
            self._stream.write(f"{line}\n")
            self._stream.flush()
            return
        import typer

        typer.echo(line, file=self._stream, color=self._styled)


def _dressed(text: str, style: str) -> str:
    if not style:
        return text
    import typer

    words = style.split()
    colour = next((word for word in words if word not in ("bold", "dim")), None)
    return typer.style(text, fg=colour, bold="bold" in words or None, dim="dim" in words or None)


def stdout(*, quiet: bool = False) -> LineConsole:
    """Return the console for reports. Colour follows the terminal; ``NO_COLOR`` and a pipe are respected."""
    return LineConsole(report_stream(), quiet=quiet)


def stderr(*, quiet: bool = False) -> LineConsole:
    """Return the console for messages."""
    return LineConsole(sys.stderr, quiet=quiet)


def print_up_to_date(output: Path, *, quiet: bool = False) -> None:
    """Print that the last build is what another one would give."""
    stdout(quiet=quiet).print(f"{output}: up to date", whole=[f"{output}:"])


def print_document(document: Mapping[str, Any]) -> None:
    """Print one JSON document to stdout."""
    stream, text = report_stream(), json_text(document)
    try:
        text.encode(stream.encoding or "utf-8")
    except UnicodeEncodeError:  # the stream's own escapes are not JSON
        text = json.dumps(document, indent=2, default=list) + "\n"
    stream.write(text)


def print_revisions(documents: Mapping[str | None, Mapping[str, Any]]) -> None:
    """Print the document of each revision in one, or that of the only one as it is."""
    if len(documents) == 1:
        print_document(next(iter(documents.values())))
        return
    print_document({"ok": all(document["ok"] for document in documents.values()), "revisions": documents})


def print_findings(
    console: LineConsole, found: Iterable[Finding], *, quiet: bool = False, revision: str | None = None
) -> None:
    """Print findings, one line each, or errors alone if ``quiet``, with the revision that they are of."""
    for finding in found:
        if quiet and finding.level != "error":
            continue
        level = f"{finding.level:{_LEVEL}}", STYLES[finding.level]
        where = f"revision {revision}: {finding.where}" if revision else finding.where
        parts = (level, (f"{where}: ", "bold"), (finding.message, ""))
        console.print(parts, whole=[f"{where}:"], hanging=_LEVEL)


def byte_order(big_endian: bool | None) -> ByteOrder | None:  # noqa: FBT001 - as the option is
    """Name the byte order of ``--big-endian`` or ``--little-endian``; None for neither."""
    return None if big_endian is None else "big" if big_endian else "little"


def failure_of(error: BaseException) -> tuple[int, Sequence[Fault]]:
    """Return the exit status for an error, and its faults. The traceback of a bug is printed."""
    if isinstance(error, LadderlightError):
        return error.exit_status, error.faults
    if isinstance(error, FileNotFoundError) and error.errno and error.filename is None:  # as os.getcwd raises it
        return 1, [Fault(where="", message="the current folder has been deleted; change to another one")]
    if isinstance(error, OSError) and isinstance(error.filename, str):
        message = f"cannot be used ({reason_of(error)}); check the path and its permissions"
        return 1, [Fault(where=error.filename, message=message)]
    import traceback

    staged = isinstance(error, StageFailure)
    for line in "".join(traceback.format_exception((staged and error.__cause__) or error)).splitlines():
        _print(printable(line))
    what = f"{error}" if staged else f"{type(error).__name__}: {error}; please report it with the lines above"
    return BUG, [Fault(where="", message=f"bug: {what}")]


def print_lines(faults: Iterable[Fault]) -> None:
    """Print faults to stderr, one line each, folded on a terminal."""
    for fault in faults:
        for line in lines_of(fault):
            _print(line)


def lines_of(fault: Fault) -> Sequence[str]:
    """Return the lines of a fault on stderr. Where it is, such as a path, stays in one piece."""
    return folded(printable(str(fault)), width_of(sys.stderr), [f"{printable(str(fault.where))}:"])


def _print(line: str) -> None:
    print(line, file=sys.stderr)  # noqa: T201
