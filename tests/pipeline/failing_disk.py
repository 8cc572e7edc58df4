"""A disk on which something happens at one of the calls that change it."""

from __future__ import annotations

import contextlib
import io
import os
from collections.abc import Callable, Collection, Iterator
from typing import Any

import pytest

CALLS = ("rename", "replace", "mkdir", "unlink", "rmdir", "fsync", "open", "chmod")


class Disk:
    """Counts the calls that change the disk, and has something happen at one of them."""

    def __init__(
        self,
        strike: Callable[[], None],
        at: int,
        *,
        then: Collection[str] = (),
        of: Collection[str] = (*CALLS, "write"),
    ) -> None:
        self.strike, self.at, self.then, self.of = strike, at, then, of
        self.calls = 0

    def step(self, name: str, half: Callable[[], object] | None = None) -> None:
        self.calls += name in self.of
        if (self.calls == self.at and name in self.of) or (self.calls > self.at and name in self.then):
            if half:
                half()
            self.strike()

    @contextlib.contextmanager
    def installed(self) -> Iterator[Disk]:
        with pytest.MonkeyPatch.context() as patch:
            for name in CALLS:
                patch.setattr(os, name, self._counted(name, getattr(os, name)))
            patch.setattr(io, "open", self._opened(io.open))
            yield self

    def _counted(self, name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def counted(*args: Any, **more: Any) -> Any:
            self.step(name)
            return call(*args, **more)

        return counted

    def _opened(self, call: Callable[..., Any]) -> Callable[..., Any]:
        def opened(file: Any, mode: str = "r", *args: Any, **more: Any) -> Any:
            if not set(mode) & set("wxa"):
                return call(file, mode, *args, **more)
            self.step("open")
            return Writing(call(file, mode, *args, **more), self)

        return opened


class Writing:
    """A file that may take only half of what is written."""

    def __init__(self, file: Any, disk: Disk) -> None:
        self.file, self.disk = file, disk

    def write(self, data: bytes) -> int:
        self.disk.step("write", lambda: (self.file.write(data[: len(data) // 2]), self.file.flush()))
        return self.file.write(data)

    def __enter__(self) -> Writing:
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self.file, name)
