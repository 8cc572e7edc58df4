"""The console that reports are printed to."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import typer

from ladderlight.commands.terminal.folding import fold, width_of
from ladderlight.system.printable import printable

if TYPE_CHECKING:
    from rich.table import Table

_WIDE = 1000
"""Width of what is not printed to a terminal: no table is narrowed there."""

Parts = Sequence[tuple[str, str]]
"""A text in parts, each with its style: words such as ``"bold red"``, or none."""


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
        """Print texts, paths and tables.

        Parameters
        ----------
        objects
            What to print, a line each; an empty line without any.
        style
            Of all texts that are not in parts.
        whole
            Parts of the texts that are not folded.
        hanging
            Spaces before the second line of a text and those after; see :func:`fold`.
        """
        for each in () if self._quiet else objects or ("",):
            if isinstance(each, Path):
                self._write(printable(str(each)))
            elif isinstance(each, str | Sequence):
                self._write_text([(each, style)] if isinstance(each, str) else each, whole, hanging)
            else:
                self._write_table(each)

    def _write_text(self, parts: Parts, whole: Sequence[str], hanging: int | None) -> None:
        shown = [(printable(text), style) for text, style in parts]
        spans, indent = fold("".join(text for text, _ in shown), self.columns, [*map(printable, whole)], hanging)
        for number, (begin, end) in enumerate(spans):
            line, at = " " * indent * (number > 0), 0
            for text, style in shown:
                line += _dressed(text[max(begin - at, 0) : max(end - at, 0)], style)
                at += len(text)
            self._write(line)

    def _write_table(self, table: Table) -> None:
        from rich.console import Console

        Console(file=self._stream, width=self.columns or _WIDE, no_color=not self._styled).print(table, soft_wrap=True)

    def _write(self, line: str) -> None:
        typer.echo(line, file=self._stream, color=self._styled)


def _dressed(text: str, style: str) -> str:
    """Return a text in a style, for a terminal."""
    words = style.split()
    colour = next((word for word in words if word not in ("bold", "dim")), None)
    return typer.style(text, fg=colour, bold="bold" in words or None, dim="dim" in words or None) if words else text
