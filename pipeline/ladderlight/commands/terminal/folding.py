"""Lines that fit the terminal: folded between words, indented under what they continue, paths in one piece."""

import os
import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from typing import TextIO

USUAL = 80
"""Columns of a terminal that does not give its width."""
_LEAST = 20  # narrower terminals break lines by themselves
_LABELS = 24  # longest label, in columns, under whose text the rest of a line is indented
_STEP = 2
_LABEL = re.compile(r" *\S+(?: \S+)* {2,}")
_FIGURE = re.compile(r"\d (?:[pnumkMG]?(?:V|A|W|s|Hz|ohm|m|B)|%)(?!\w)")  # a figure stays with its unit
_QUOTED_PATH = re.compile(r"'[^']*[/\\][^']*'")


def width_of(stream: TextIO) -> int | None:
    """Return the columns of a stream: of ``COLUMNS`` or of the terminal; None for a pipe, whose lines stay whole.

    Programs that read lines with GNU Readline give ``COLUMNS`` and ``LINES`` to whatever they start, though nobody has
    chosen them (its manual, ``rl_change_environment``). With both set, neither counts.
    """
    given = "" if "LINES" in os.environ else os.environ.get("COLUMNS", "")
    if given.isdecimal() and int(given):
        return max(int(given), _LEAST)
    if not stream.isatty():
        return None
    with suppress(OSError, ValueError):
        return max(os.get_terminal_size(stream.fileno()).columns or USUAL, _LEAST)
    return USUAL


def folded(text: str, width: int | None, whole: Sequence[str] = ()) -> list[str]:
    """Return the lines of a text, which has no line breaks, in so many columns; None for any number.

    Parts that are ``whole`` stay in one piece: paths and commands with spaces. What is longer than a line and has no
    space, or is one of these, or is a path in quotation marks, makes a longer line.
    """
    spans, indent = fold(text, width, whole)
    return [" " * (indent if place else 0) + text[begin:end] for place, (begin, end) in enumerate(spans)]


def fold(
    text: str, width: int | None, whole: Sequence[str] = (), hanging: int | None = None
) -> tuple[list[tuple[int, int]], int]:
    """Return where the lines of a text begin and end in it, and the spaces before all but the first of them.

    The spaces are ``hanging``; by default they reach to what follows a label, or two columns further in than the text.
    Where that is more than half of the width they are two.
    """
    indent = _indent(text) if hanging is None else hanging
    if width is None or columns(text) <= width:
        return [(0, len(text))], indent
    if indent > width // 2:  # too few columns would be left for words
        indent = _STEP
    spans: list[tuple[int, int]] = []
    begin, end = 0, 0
    for first, last in _pieces(text, whole):
        room = width - (indent if spans else 0)
        fits = columns(text[first:last]) <= width - indent  # what fits nowhere stays behind what comes before
        if end > begin and fits and columns(text[begin:last]) > room:
            spans.append((begin, end))
            begin = first
        end = last
    return [*spans, (begin, end)], indent


def columns(text: str) -> int:
    """Return the columns that a text takes: two for a wide letter, none for a combining mark (UAX 11)."""
    if text.isascii():
        return len(text)
    from rich.cells import cell_len

    return cell_len(text)


def _indent(text: str) -> int:
    label = _LABEL.match(text)
    if label and columns(label[0]) <= _LABELS:
        return columns(label[0])
    return len(text) - len(text.lstrip(" ")) + _STEP


def _pieces(text: str, whole: Sequence[str]) -> Iterator[tuple[int, int]]:
    """Yield where the pieces between spaces begin and end that are not within what stays whole."""
    kept = [(found.start(), found.end()) for each in (_QUOTED_PATH, _FIGURE) for found in each.finditer(text)]
    for part in filter(None, whole):
        kept += [(found.start(), found.end()) for found in re.finditer(re.escape(part), text)]
    begin = None
    for place, letter in enumerate(text):
        if letter == " " and not any(first <= place < last for first, last in kept):
            if begin is not None:
                yield begin, place
            begin = None
        elif begin is None:
            begin = place
    if begin is not None:
        yield begin, len(text)
