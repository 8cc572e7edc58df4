"""Compile the sequential loops, and keep the machine code between runs where the system lets us."""

from __future__ import annotations

import threading
from collections.abc import Callable
from types import FunctionType
from typing import Any

_LOCK = threading.RLock()


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile a loop on first use, without the interpreter lock.

    The compiler is loaded only then, so that recipes are checked without it. The machine code is kept beside the
    module, or in the user's cache folder when the installation is read-only. When neither can be written it is compiled
    again in each run.
    """
    assert isinstance(function, FunctionType)  # noqa: S101 - only ever used as a decorator
    return _Loop(function)


class _Loop:
    """A loop that waits to be compiled."""

    def __init__(self, function: FunctionType) -> None:
        self.function = function
        self.machine: Callable[..., Any] | None = None

    def __call__(self, *values: Any) -> Any:
        """Run the loop."""
        return (self.machine or self.made())(*values)

    def made(self) -> Callable[..., Any]:
        """Give the machine code; of several threads one makes it."""
        with _LOCK:
            if self.machine is None:
                self._make_used()
                self.machine = self._compiled()
            return self.machine

    def _make_used(self) -> None:
        """Put the machine code of the loops that this one calls where the compiler looks for it."""
        known = self.function.__globals__
        for name in self.function.__code__.co_names:
            if isinstance(known.get(name), _Loop):
                known[name] = known[name].made()

    def _compiled(self) -> Callable[..., Any]:
        import numba

        machine: Callable[..., Any]
        try:
            machine = numba.njit(cache=True, nogil=True)(self.function)
        except RuntimeError:  # no place for the cache
            machine = numba.njit(nogil=True)(self.function)
        return machine
