"""Entries of the cache: parts of bytes with a description, found whole or not at all.

A file has the parts one after another, then the description as JSON with the length and the CRC-32 of each part, and
at its end the length of that JSON and the SHA-256 of the entry's key and that JSON. A file that was cut short, changed
or put in another's place is therefore known for damaged before anything of it is used.
"""

import hashlib
import json
import os
import struct
import zlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, BinaryIO, Self

from ladderlight.cache.folder import is_own_file
from ladderlight.system.frozen import Frozen

_END = struct.Struct(">Q32s8s")
_FORMAT = b"LLcache1"
_MOST = 1 << 28  # bytes of the longest description that is read


class DamagedError(Exception):
    """An entry is not as it was written, or no longer there."""


class EntryWriter:
    """Writes the parts of an entry, and then its description."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self._parts: list[tuple[int, int]] = []

    def add(self, data: bytes | memoryview) -> None:
        """Write a part, as plain bytes."""
        self._file.write(data)
        self._parts.append((len(data), zlib.crc32(data)))

    def written(self, path: Path) -> Iterator[bytes]:
        """Yield the parts as the file at a path has them. Raises OSError when they cannot be read."""
        with suppress(OSError):  # concerns the part that could not be written
            self._file.flush()
        with path.open("rb") as file:
            for size, crc in self._parts:
                data = file.read(size)
                if len(data) != size or zlib.crc32(data) != crc:
                    raise OSError("a part is not as it was written")
                yield data

    def end(self, path: str | Path, key: str, about: Mapping[str, Any]) -> "Entry":
        """Write the description, of JSON values, and return the entry as it is once the file is in its place."""
        text = json.dumps({"parts": self._parts, "about": about}).encode()
        self._file.write(text)
        self._file.write(_END.pack(len(text), _digest(key, text), _FORMAT))
        return Entry(path=str(path), about=about, parts=_placed(self._parts))


class Entry(Frozen):
    """An entry that was found. Its parts are checked as they are read."""

    path: str
    about: Mapping[str, Any]
    parts: tuple[tuple[int, int, int], ...]
    """Start, length and CRC-32 of each."""

    @classmethod
    def open(cls, path: str | Path, key: str) -> Self | None:
        """Return the entry of a file; None when there is none that is whole and this user's."""
        try:
            with open(path, "rb", buffering=0) as file:  # noqa: PTH123 - thousands, twice as fast as Path.open
                status = os.fstat(file.fileno())
                file.seek(max(0, status.st_size - _END.size))
                length, digest, form = _END.unpack(file.read(_END.size))
                if form != _FORMAT or length > min(status.st_size - _END.size, _MOST) or not is_own_file(status):
                    return None
                file.seek(status.st_size - _END.size - length)
                text = file.read(length)
            if _digest(key, text) != digest:
                return None
            found = json.loads(text)
            parts = _placed(found["parts"])
            whole = sum(size for _, size, _ in parts) + length + _END.size == status.st_size
            return cls(path=str(path), about=found["about"], parts=parts) if whole else None
        except (OSError, ValueError, struct.error):
            return None

    def read(self, index: int) -> bytearray:
        """Return a part. Raises DamagedError when it is not as it was written."""
        data = bytearray(self.parts[index][1])
        self.read_into(index, memoryview(data))
        return data

    def read_into(self, index: int, *buffers: memoryview) -> None:
        """Read parts from one on into buffers of plain bytes and of their lengths; raises as :meth:`read` does."""
        try:
            with open(self.path, "rb", buffering=0) as file:  # noqa: PTH123 - as in open
                file.seek(self.parts[index][0])
                whole = all(
                    len(buffer) == size == file.readinto(buffer) and zlib.crc32(buffer) == crc
                    for buffer, (_, size, crc) in zip(buffers, self.parts[index : index + len(buffers)], strict=True)
                )
        except OSError as error:
            raise DamagedError(str(error)) from error
        if not whole:
            with suppress(OSError):
                Path(self.path).unlink()
            raise DamagedError(f"{self.path} is damaged")


def _placed(parts: Iterable[tuple[int, int]]) -> tuple[tuple[int, int, int], ...]:
    placed, start = [], 0
    for size, crc in parts:
        placed.append((start, size, crc))
        start += size
    return tuple(placed)


def _digest(key: str, text: bytes) -> bytes:
    return hashlib.sha256(key.encode() + b"\0" + text).digest()
