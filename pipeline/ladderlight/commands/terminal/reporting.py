"""What commands print: documents and tables to stdout, progress and messages to stderr."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from ladderlight.commands.terminal.report_stream import report_stream
from ladderlight.system.printable import json_text

if TYPE_CHECKING:
    from ladderlight.board import Finding
    from ladderlight.commands.terminal.console import LineConsole
    from ladderlight.errors import Fault
    from ladderlight.flow.pictures import ByteOrder

_LEVEL = 8
"""Columns of a finding's level."""
STYLES = {"error": "bold red", "caution": "yellow", "note": "cyan"}


def stdout(*, quiet: bool = False) -> LineConsole:
    """Return the console for reports. Colour follows the terminal; ``NO_COLOR`` and a pipe are respected."""
    from ladderlight.commands.terminal.console import LineConsole

    return LineConsole(report_stream(), quiet=quiet)


def stderr(*, quiet: bool = False) -> LineConsole:
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


def print_revisions(documents: Mapping[str | None, Mapping[str, Any]]) -> None:
    """Print the document of each revision in one, or that of the only one as it is."""
    if len(documents) == 1:
        print_document(next(iter(documents.values())))
        return
    print_document({"ok": all(document["ok"] for document in documents.values()), "revisions": documents})


def print_faults(faults: Iterable[Fault]) -> None:
    """Print faults as one JSON document of findings to stdout."""
    print_document({"ok": False, "findings": [{"level": "error", **asdict(fault)} for fault in faults]})


def print_findings(console: LineConsole, found: Iterable[Finding], *, quiet: bool = False) -> None:
    """Print findings, one line each, or errors alone if ``quiet``."""
    for finding in found:
        if quiet and finding.level != "error":
            continue
        level = f"{finding.level:{_LEVEL}}", STYLES[finding.level]
        parts = (level, (f"{finding.where}: ", "bold"), (finding.message, ""))
        console.print(parts, whole=[f"{finding.where}:"], hanging=_LEVEL)


def byte_order(big_endian: bool | None) -> ByteOrder | None:  # noqa: FBT001 - as the option is
    """Name the byte order of ``--big-endian`` or ``--little-endian``; None for neither."""
    return None if big_endian is None else "big" if big_endian else "little"
