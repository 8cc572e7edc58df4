"""Values: equal and hashed by what they hold, whichever process made them."""

import hashlib
from collections.abc import Mapping, Set
from dataclasses import fields, is_dataclass
from enum import Enum
from fractions import Fraction
from functools import cached_property
from math import isfinite
from pathlib import PurePath
from typing import Any

from ladderlight.system.frozen import Frozen

_PLAIN = (str, bytes, bool, float, Enum, PurePath)


class Value(Frozen):
    """Base of frozen dataclasses that are equal when the digest of their content is.

    The content is all fields but those declared with ``compare=False``. A mapping counts with its order: a ladder's
    first line is the lowest bit of its codes. Pickles hold the fields alone; cached properties, the digest among them,
    are computed again where they are needed.
    """

    @cached_property
    def digest(self) -> str:
        """SHA-256 of class and content."""
        return hashlib.sha256(f"{type(self).__name__}{_written(_content(self))}".encode()).hexdigest()

    def __eq__(self, other: object) -> bool:
        return self is other or (type(other) is type(self) and self.digest == getattr(other, "digest", None))

    def __hash__(self) -> int:
        return hash(self.digest)

    def __getstate__(self) -> dict[str, Any]:
        """Return the fields, without what is cached beside them."""
        return {field.name: getattr(self, field.name) for field in fields(self)}


def digest_of(value: object) -> str:
    """Return the SHA-256 of plain data: values, dataclasses, mappings with their order, lists, sets, arrays, scalars.

    Raises TypeError when something in it is not plain.
    """
    return hashlib.sha256(_written(value).encode()).hexdigest()


def _content(value: Any) -> dict[str, Any]:
    return {field.name: getattr(value, field.name) for field in fields(value) if field.compare}


def _written(value: Any) -> str:
    """Write a value as text that is the same for equal values in every process."""
    if type(value) is str or value is None:  # most values are
        return ascii(value)
    if isinstance(value, (tuple, list)):
        return "[" + ",".join(map(_written, value)) + "]"
    if isinstance(value, Value):
        return value.digest
    if is_dataclass(value):
        return f"{type(value).__name__}{_written(_content(value))}"
    if isinstance(value, Mapping):
        return "{" + ",".join(f"{_written(key)}:{_written(item)}" for key, item in value.items()) + "}"
    if isinstance(value, Set):
        return "{" + ",".join(sorted(map(_written, value))) + "}"
    if isinstance(value, int | float | Fraction) and not isinstance(value, bool) and isfinite(value):
        return str(Fraction(value))  # 75 ohm and 75.0 ohm are equal
    if hasattr(value, "tobytes"):
        return f"{value.dtype}{value.shape}{hashlib.sha256(value.tobytes()).hexdigest()}"
    if not isinstance(value, _PLAIN):
        raise TypeError(f"{type(value).__name__} is not plain data")
    return ascii(value)  # a path may hold bytes that are not UTF-8
