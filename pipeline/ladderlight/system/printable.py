"""Text as it may reach a terminal, a sheet or a page: nothing in it acts, breaks a line or cannot be encoded."""

import json
import operator
import re
from collections.abc import Mapping
from json.encoder import encode_basestring
from typing import Any

_ACTING = re.compile("[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
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
        return value if value.isprintable() else printable(value)
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
    """Return a value as :func:`json_text` does, its further lines indented.

    That is what ``json.dumps`` gives with an indent of 2, in half the time.
    """
    if isinstance(value, str):
        text = encode_basestring(value)
        return text if value.isprintable() else _ACTING.sub(lambda found: json.dumps(found[0])[1:-1], text)
    if value is None or isinstance(value, int | float):
        return repr(value) if type(value) is int else json.dumps(value)
    if isinstance(value, Mapping):
        brackets = "{}"
        texts = (key if isinstance(key, str) else json.dumps(key) for key in value)
        values = (json_value(inner, indent + 2) for inner in value.values())
        items = [f"{json_value(key)}: {inner}" for key, inner in zip(texts, values, strict=True)]
    else:
        brackets, items = "[]", [json_value(inner, indent + 2) for inner in value]
    line = "\n" + " " * indent
    return f"{brackets[0]}{line}  {f',{line}  '.join(items)}{line}{brackets[1]}" if items else brackets


def _escape(found: re.Match[str]) -> str:
    code = ord(found[0])
    if 0xDC80 <= code <= 0xDCFF:  # a byte of a name that is not UTF-8 (PEP 383)
        return f"\\x{code - 0xDC00:02x}"
    return found[0].encode("unicode_escape").decode()
