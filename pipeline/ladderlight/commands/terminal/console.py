"""The console that reports are printed to."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, TextIO

from rich.console import Console
from rich.text import Text

from ladderlight.commands.terminal.folding import fold, width_of
from ladderlight.system.printable import printable

_WIDE = 1000
"""Width of what is not printed to a terminal: no table is narrowed there."""


class LineConsole(Console):
    """A console to which a text is one line, whatever characters are in it; none of them means anything.

    On a terminal lines are folded between words, but a :class:`Path` and what is ``whole`` stay in one piece.
    """

    def __init__(self, stream: TextIO, *, quiet: bool = False) -> None:
        """Write to a stream, or to nowhere."""
        self.columns = width_of(stream)
        super().__init__(
            file=stream,
            quiet=quiet,
            width=self.columns or _WIDE,
            soft_wrap=True,
            highlight=False,
            markup=False,
            emoji=False,
        )

    def print(self, *objects: Any, whole: Sequence[str] = (), hanging: int | None = None, **more: Any) -> None:
        """Print texts, paths and tables.

        Parameters
        ----------
        objects
            What to print, a line each.
        whole
            Parts of the texts that are not folded.
        hanging
            Spaces before the second line of a text and those after; see :func:`fold`.
        more
            As the library's ``print``.
        """
        lines = [line for each in objects for line in self._lines(each, [*map(printable, whole)], hanging)]
        super().print(*lines, **({"sep": "\n"} | more))

    def render_str(self, text: str, **more: Any) -> Text:
        """Make a printable text."""
        return super().render_str(printable(text), **more)

    def _lines(self, each: Any, whole: Sequence[str], hanging: int | None) -> Sequence[Any]:
        if isinstance(each, Path):
            return [str(each)]
        if not isinstance(each, str | Text):
            return [each]
        text = each if isinstance(each, Text) else Text(printable(each))
        spans, indent = fold(text.plain, self.columns, whole, hanging)
        first, *others = [text[begin:end] for begin, end in spans]
        return [first, *(Text(" " * indent) + other for other in others)]
