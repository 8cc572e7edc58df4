"""The console that reports are printed to."""

from __future__ import annotations

from typing import Any, TextIO

from rich.console import Console
from rich.text import Text

from ladderlight.system.printable import printable

_WIDE = 1000
"""Width of a line: nothing is folded or cut, so that a path or a command stays in one piece and can be pasted. A
terminal breaks long lines by itself, and joins them again when they are copied."""


class LineConsole(Console):
    """A console to which a text is one line, whatever characters are in it; none of them means anything."""

    def __init__(self, stream: TextIO, *, quiet: bool = False) -> None:
        """Write to a stream, or to nowhere."""
        super().__init__(
            file=stream, quiet=quiet, width=_WIDE, soft_wrap=True, highlight=False, markup=False, emoji=False
        )

    def render_str(self, text: str, **more: Any) -> Text:
        """Make a printable text."""
        return super().render_str(printable(text), **more)
