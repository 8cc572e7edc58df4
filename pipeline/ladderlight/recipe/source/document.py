"""Reading a TOML file, and saying what stops it from being one."""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Iterator, Mapping
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import tomli

from ladderlight.errors import Fault, RecipeError
from ladderlight.recipe.files import nearest_file
from ladderlight.stages.validation import KeyName
from ladderlight.system.frozen import Frozen
from ladderlight.system.paths import entries_of, reason_of

if TYPE_CHECKING:
    from ladderlight.recipe.source.positions import Positions


DEEPEST = 40
"""Levels of nesting; a recipe needs about eight."""
_MANY = ("stage", "picture", "memory")  # tables of which a recipe may have several
_CURLY = tuple("\u2018\u2019\u201c\u201d\u201e\u00ab\u00bb")  # quotes that word processors put in
_ADVICE = (
    ("Invalid value", "this is not a value", "put a text in quotes; write true and false in small letters"),
    ("Cannot overwrite", "this key has a value already", "keep one of the two"),
    ("Cannot declare", "{subject} is there already", "put its keys together under one heading"),
    ("Cannot mutate immutable", "{subject} is complete where it was first written", "put its keys together there"),
    ("Cannot redefine", "{subject} is complete where it was first written", "put its keys together there"),
    ("Expected newline", "something is left over at the end of the line", "put a text in quotes; one key to a line"),
    ("Expected '='", "a key must be followed by =", 'write key = "value"'),
    ("Expected ']", "the heading is not closed", "end it with as many ] as it begins with ["),
    ("Unclosed array", "the list is not closed", "put a comma between entries and ] at the end"),
    ("Unclosed inline table", "the table is not closed", "put a comma between keys and } at the end"),
    ("Duplicate inline table key", "this key has a value already", "keep one of the two"),
    ("Unterminated string", "the text is not closed", "end it with the quote that it begins with"),
    ("Expected \"'''", "the text is not closed", "end it with the quotes that it begins with"),
    ('Expected "\'"', "the text is not closed", "end it with the quote that it begins with"),
    ("Illegal character '\\n'", "the text is not closed", "end it with the quote that it begins with"),
    ("Found invalid character '\\n'", "the text is not closed", "end it with the quote that it begins with"),
    ("Found invalid character", "a character that cannot be seen must not be there", "delete it"),
    ("Illegal character", "a character that cannot be seen must not be there", "delete it"),
    ("Unescaped '\\'", "a \\ in double quotes begins an escape", "put the text in single quotes or write \\\\"),
    ("Invalid hex value", "an escape lacks hexadecimal digits", "write four after \\u"),
    ("Escaped character", "the escape is not a character", "write \\\\ for a backslash"),
    ("Invalid date", "this is not a date or time", "put a text in quotes"),
    ("Invalid initial character", "this is not a key", 'write key = "value"; put an unusual key in quotes'),
    ("Invalid statement", "this is neither a key nor a heading", 'write key = "value" or [heading]'),
)
_TEXTS = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5}|"""|\'\'\'|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#[^\n]*|["\']', re.DOTALL
)
"""Closed texts and comments, and quotes that are not closed."""
_QUOTES = ('"', "'", '"""', "'''")


class Document(Frozen):
    """A TOML file: its name as the user knows it, its text and its values."""

    shown: str
    text: str
    data: Mapping[str, Any]

    @cached_property
    def positions(self) -> Positions:
        """Places of its keys and values."""
        from ladderlight.recipe.source.positions import Positions

        return Positions(self.text)


class UnreadableError(RecipeError):
    """A file is not TOML."""


def read_document(path: Path, shown: str) -> Document:
    """Read a TOML file.

    Raises UnreadableError with the place as ``file:line:column``, and the file alone where it cannot be read.
    """
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        names = [item.name for item in entries_of(path.parent) if item.suffix == ".toml"]
        action = nearest_file(path.name, names) or "check the path"
        raise UnreadableError(f"there is no such file; {action}", where=shown) from None
    except IsADirectoryError:
        inner = sorted(item.name for item in entries_of(path) if item.suffix == ".toml")
        what = "this is a folder" if "recipe.toml" in inner else "there is no recipe.toml in this folder"
        action = f"name {' or '.join(inner)} in it" if inner else "name a recipe, or the folder of one"
        raise UnreadableError(f"{what}; {action}", where=shown) from None
    except (OSError, ValueError) as error:
        what = f"cannot be read ({reason_of(error)}); check the path and its permissions"
        raise UnreadableError(what, where=shown) from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        column = error.start - raw.rfind(b"\n", 0, error.start)
        raise UnreadableError("not UTF-8 text; save it as UTF-8", where=f"{shown}:{line}:{column}") from None
    try:
        # tomli refuses deep nesting with a RecursionError, and Python numbers of thousands of digits.
        data = tomli.loads(text)
        deque(walk(data), maxlen=0)
    except tomli.TOMLDecodeError as error:
        what, action = _in_words(error)
        line, column = _place(error)
        if error.doc[error.pos : error.pos + 1] in _CURLY:
            what, action = f"{error.doc[error.pos]} is not a quote of TOML", 'use straight quotes, "'
        raise UnreadableError(f"{what}; {action}", where=f"{shown}:{line}:{column}") from None
    except (RecursionError, ValueError):
        what = "something in this file is nested too deeply, or a number has too many digits"
        raise UnreadableError(f"{what}; is this the right file?", where=f"{shown}:1:1") from None
    document = Document(shown=shown, text=text.replace("\r\n", "\n"), data=data)
    faults = list(_nul_characters(document))
    if faults:
        raise UnreadableError.of(faults)
    return document


def walk(value: Any, at: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    """Yield all that is inside a value, each with its path. Raises RecursionError for one that is nested too deeply."""
    if len(at) == DEEPEST:
        raise RecursionError
    for key, item in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield (*at, key), item
        yield from walk(item, (*at, key))


def _nul_characters(document: Document) -> Iterator[Fault]:
    """Yield the texts with a NUL character, which no name of a file can have and no text needs."""
    for (*above, key), item in walk(document.data):
        in_key = isinstance(key, str) and "\0" in key
        if in_key or (isinstance(item, str) and "\0" in item):
            line, column = document.positions.of((*above, KeyName(key) if in_key else key))
            where = f"{document.shown}:{line}:{column}"
            yield Fault(where=where, message="the text holds a NUL character; delete it")


def _place(error: tomli.TOMLDecodeError) -> tuple[int, int]:
    """Return line and column; of a text that is not closed, where it begins; of an escape, its backslash."""
    at = error.pos
    if error.msg.startswith("Unescaped"):
        at = error.doc.rfind("\\", 0, at)
    elif "not closed" in _in_words(error)[0] and "text" in _in_words(error)[0]:
        at = next((match.start() for match in _TEXTS.finditer(error.doc) if match[0] in _QUOTES), at)
    before = error.doc[:at]
    return before.count("\n") + 1, at - before.rfind("\n")


def _in_words(error: tomli.TOMLDecodeError) -> tuple[str, str]:
    subject = ".".join(re.findall(r"'([^']*)'", error.msg))
    if error.msg.startswith("Cannot declare") and subject.rpartition(".")[2] in _MANY:
        return f"[{subject}] is there already", f"write [[{subject}]], with two brackets, for each"
    for start, what, action in _ADVICE:
        if error.msg.startswith(start):
            return what.format(subject=f"[{subject}]"), action
    return "this is not TOML", "correct it"
