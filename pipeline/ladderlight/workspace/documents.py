"""JSON documents that are kept between commands: read whole and checked in one place, or refused in one line."""

import json
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from ladderlight.errors import DocumentError
from ladderlight.storage.record import Record

if TYPE_CHECKING:
    from ladderlight.workspace.models import Kept

_Kept = TypeVar("_Kept", bound="Kept")

LARGEST = 1 << 28
"""Bytes of the largest document that is read. A record of forty chips of 1 MiB, all noise, takes a fifth of it."""
_MOST_LETTERS = 60


def read_document(path: Path, model: type[_Kept], action: str) -> _Kept | None:
    """Return a document, or None when there is no such file; ``action`` is what to do about a damaged one.

    Raises
    ------
    DamageError
        When it is not such a document; in one line, whatever it holds.
    DocumentError
        When it cannot be read.
    """
    with _refused(path, action):
        data = _data(path)
        return None if data is None else _checked(_loaded(data), model)


def read_made(output: Path, name: str, form: int, model: str) -> Any:
    """Return a document of the last build, JSON values, or None when there is no such file.

    Where it is not just what that build has written, or of another format than ``form``, it is checked by the model of
    this name; raises as :func:`read_document` does.
    """
    with _refused(output / name, "build again"):
        data = _data(output / name)
        if data is None:
            return None
        record = Record.read(output)
        own = record is not None and record.files.get(name) == sha256(data).hexdigest()
        found = json.loads(data) if own else _loaded(data)
        if not own or found.get("format") != form:
            from ladderlight.workspace import models

            _checked(found, getattr(models, model))
        return found


class DamageError(DocumentError):
    """A document that can be read is not what it should be."""


@contextmanager
def _refused(path: Path, action: str) -> Iterator[None]:
    """Raise what is wrong with a document with its place, and what to do about a damaged one."""
    try:
        yield
    except OSError as error:
        raise DocumentError(f"cannot be read ({error.strerror}); check its permissions", where=path) from None
    except DamageError as error:
        raise DamageError(f"{error}; {action}", where=path) from None


def _checked(found: object, model: type[_Kept]) -> _Kept:
    """Return the model of a document; raises DamageError with the value that is not valid, in words."""
    from pydantic import ValidationError

    try:
        return model.model_validate(found)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
    if first["type"] == "value_error":
        raise DamageError(str(first["ctx"]["error"]))
    keys = "".join(f"[{key}]" if isinstance(key, int) else f".{key}" for key in first["loc"]).lstrip(".")
    keys = ascii(keys[:_MOST_LETTERS])[1:-1]  # some are whatever the file has
    if not keys:
        raise DamageError("does not hold what it should")
    raise DamageError(f"lacks {keys}" if first["type"] == "missing" else f"{keys} does not hold what it should")


def _data(path: Path) -> bytes | None:
    try:
        status = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return None
    if not stat.S_ISREG(status.st_mode):
        raise DamageError("is a folder" if stat.S_ISDIR(status.st_mode) else "is not a regular file")
    if status.st_size > LARGEST:
        raise DamageError(f"has {status.st_size:,} bytes, too many for such a file")
    return path.read_bytes()


def _loaded(raw: bytes) -> Any:
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
