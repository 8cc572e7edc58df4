"""JSON documents that are kept between commands: read whole and checked in one place, or refused in one line."""

from __future__ import annotations

import json
import stat
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from ladderlight.errors import DocumentError

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

    from ladderlight.workspace.models import Kept

LARGEST = 1 << 28
"""Bytes of the largest document that is read. A record of forty chips of 1 MiB, all noise, takes a fifth of it."""
_MOST_LETTERS = 60

_Kept = TypeVar("_Kept", bound="Kept")


def read_document(path: Path, model: type[_Kept], action: str) -> _Kept | None:
    """Return a document, or None when there is no such file; ``action`` is what to do about a damaged one.

    Raises
    ------
    DamageError
        When it is not such a document; in one line, whatever it holds.
    DocumentError
        When it cannot be read.
    """
    from pydantic import ValidationError

    try:
        return model.model_validate(_loaded(path))
    except (FileNotFoundError, NotADirectoryError):
        return None
    except OSError as error:
        raise DocumentError(f"cannot be read ({error.strerror}); check its permissions", where=path) from None
    except ValidationError as error:
        fault = _place(error.errors(include_url=False)[0])
    except DamageError as error:
        fault = str(error)
    raise DamageError(f"{fault}; {action}", where=path)


class DamageError(DocumentError):
    """A document that can be read is not what it should be."""


def _loaded(path: Path) -> object:
    status = path.stat()
    if not stat.S_ISREG(status.st_mode):
        raise DamageError("is a folder" if stat.S_ISDIR(status.st_mode) else "is not a regular file")
    if status.st_size > LARGEST:
        raise DamageError(f"has {status.st_size:,} bytes, too many for such a file")
    raw = path.read_bytes()
    if not raw.strip():
        raise DamageError("is empty")
    try:
        return json.loads(raw.decode("utf-8-sig"), object_pairs_hook=_once)
    except UnicodeDecodeError as error:
        raise DamageError(f"is not UTF-8 text from byte {error.start} on") from None
    except json.JSONDecodeError as error:
        raise DamageError(f"is not JSON from line {error.lineno}, column {error.colno} on") from None
    except (RecursionError, MemoryError):
        raise DamageError("is nested too deeply") from None
    except ValueError:  # Python reads no numbers of more than 4,300 digits
        raise DamageError("has a number with too many digits") from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        twice = next(name for at, (name, _) in enumerate(pairs) if name in dict(pairs[:at]))
        raise DamageError(f"has the key {twice[:_MOST_LETTERS]!r} twice in one place")
    return found


def _place(first: ErrorDetails) -> str:
    """Return in words which value of a document is not valid, of the first error."""
    if first["type"] == "value_error":
        return str(first["ctx"]["error"])
    keys = "".join(f"[{key}]" if isinstance(key, int) else f".{key}" for key in first["loc"]).lstrip(".")
    keys = ascii(keys[:_MOST_LETTERS])[1:-1]  # some are whatever the file has
    if not keys:
        return "does not hold what it should"
    return f"lacks {keys}" if first["type"] == "missing" else f"{keys} does not hold what it should"
