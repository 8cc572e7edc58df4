"""Text as it may reach a terminal, a sheet or a page: nothing in it acts, breaks a line or cannot be encoded."""

import io
import json
import operator
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
    return f"{json_value(document)}\n"


def json_value(value: Any, indent: int = 0) -> str:
    """Return a value as :func:`json_text` does, its further lines indented."""
    written = io.StringIO()  # piece by piece: a list of all pieces takes several times the memory of the text
    json.dump(value, written, indent=2, ensure_ascii=False, default=list)
    # Line breaks between values are the document's own; a string in it has none.
    text = re.sub(f"[{_BUT_BREAKS}]", lambda found: json.dumps(found[0])[1:-1], written.getvalue())
    return text.replace("\n", "\n" + " " * indent) if indent else text


def _escape(found: re.Match[str]) -> str:
    code = ord(found[0])
    if 0xDC80 <= code <= 0xDCFF:  # a byte of a name that is not UTF-8 (PEP 383)
        return f"\\x{code - 0xDC00:02x}"
    return found[0].encode("unicode_escape").decode()
