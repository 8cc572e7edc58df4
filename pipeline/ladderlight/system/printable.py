"""Text as it may reach a terminal, a sheet or a page: nothing in it acts, breaks a line or cannot be encoded."""

import json
import operator
import re
from collections.abc import Iterator, Mapping
from typing import Any

_BUT_BREAKS = "\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff"
_ACTING = re.compile(f"[\n{_BUT_BREAKS}]")
"""Control characters (C0, C1), line and paragraph separators, what turns the direction of text (Unicode Standard
Annex 9), and surrogates, which stand for the bytes of names that are not UTF-8."""
_IN_JSON = re.compile(f"[{_BUT_BREAKS}]")  # which escapes line breaks by itself
_ENCODER = json.JSONEncoder(ensure_ascii=False)
_SCALARS = (str, int, float, type(None))


def printable(text: str) -> str:
    r"""Return a text as one line that can be printed: ``\x1b`` for the escape character, ``\n`` for a line break."""
    return _ACTING.sub(_escape, text)


def printable_values(value: Any) -> Any:
    """Return plain values (mappings, lists, scalars) with every text in them printable, keys excepted.

    What is so already is not copied: most manifests are, and some are large.
    """
    if isinstance(value, str):
        return printable(value) if _ACTING.search(value) else value
    if isinstance(value, dict):
        shown = {key: printable_values(inner) for key, inner in value.items()}
        return value if all(shown[key] is inner for key, inner in value.items()) else shown
    if isinstance(value, list | tuple):
        listed = list(map(printable_values, value))
        same = isinstance(value, list) and all(map(operator.is_, listed, value))
        return value if same else listed
    return value


def json_text(document: Any) -> str:
    """Return a JSON document that can be printed: the same values, with what acts written as JSON's own escapes."""
    return "".join(json_pieces(document))


def json_pieces(document: Any) -> Iterator[str]:
    """Yield the text of :func:`json_text`; what an iterator in it yields becomes a list, of which one item is held."""
    yield from _pieces(document, "\n")
    yield "\n"


def _pieces(value: Any, line: str) -> Iterator[str]:
    """Python's own writer of indented JSON leaves garbage behind whenever it is called: 9 MiB for 10,000 pictures."""
    if isinstance(value, _SCALARS):
        yield _scalar(value)
        return
    is_table = isinstance(value, Mapping)
    ends, before, inside = "{}" if is_table else "[]", "", f"{line}  "
    for item in value:
        yield f"{before or ends[0]}{inside}{_key(item) if is_table else ''}"
        yield from _pieces(value[item] if is_table else item, inside)
        before = ","
    yield f"{line}{ends[1]}" if before else ends


def _key(name: Any) -> str:
    return f"{_scalar(name if isinstance(name, str) else _scalar(name))}: "


def _scalar(value: Any) -> str:
    return _IN_JSON.sub(lambda found: json.dumps(found[0])[1:-1], _ENCODER.encode(value))


def _escape(found: re.Match[str]) -> str:
    code = ord(found[0])
    if 0xDC80 <= code <= 0xDCFF:  # a byte of a name that is not UTF-8 (PEP 383)
        return f"\\x{code - 0xDC00:02x}"
    return found[0].encode("unicode_escape").decode()
