"""Text as it may reach a terminal, a sheet or a page: nothing in it acts, breaks a line or cannot be encoded."""

from __future__ import annotations

import json
import re
from typing import Any

_BUT_BREAKS = "\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff"
_ACTING = re.compile(f"[\n{_BUT_BREAKS}]")
"""Control characters (C0, C1), line and paragraph separators, what turns the direction of text (Unicode Standard
Annex 9), and surrogates, which stand for the bytes of names that are not UTF-8."""


def printable(text: str) -> str:
    r"""Return a text as one line that can be printed: ``\x1b`` for the escape character, ``\n`` for a line break."""
    return _ACTING.sub(_escape, text)


def printable_values(value: Any) -> Any:
    """Return plain values (mappings, lists, scalars) with every text in them printable, keys excepted."""
    if isinstance(value, str):
        return printable(value)
    if isinstance(value, dict):
        return {key: printable_values(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [printable_values(inner) for inner in value]
    return value


def json_text(document: Any) -> str:
    """Return a JSON document that can be printed: the same values, with what acts written as JSON's own escapes."""
    text = json.dumps(document, indent=2, ensure_ascii=False)
    # Line breaks between values are the document's own; a string in it has none.
    return re.sub(f"[{_BUT_BREAKS}]", lambda found: json.dumps(found[0])[1:-1], text) + "\n"


def _escape(found: re.Match[str]) -> str:
    code = ord(found[0])
    if 0xDC80 <= code <= 0xDCFF:  # a byte of a name that is not UTF-8 (PEP 383)
        return f"\\x{code - 0xDC00:02x}"
    return found[0].encode("unicode_escape").decode()
