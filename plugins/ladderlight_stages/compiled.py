"""Compilation of sequential loops; the machine code is kept between runs where the system allows it."""

import inspect
import threading
from collections.abc import Callable, Iterator
from types import CodeType, FunctionType
from typing import Any, Generic, ParamSpec, TypeVar

from ladderlight_stages import machine_code

P = ParamSpec("P")
R = TypeVar("R")

_LOCK = threading.RLock()
_SIGNED = range(-(1 << 63), 1 << 63)  # integers that the compiler takes as signed


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a loop on first use, without the interpreter lock.

    The machine code is kept in the user's cache folder, see ``machine_code``; where that cannot be used, each run
    compiles again. The compiler is loaded only for code that is not kept. A loop may read numbers of its module and
    call other loops; anything else is refused when the loop is first called.
    """
    assert isinstance(function, FunctionType)  # noqa: S101 - only ever used as a decorator
    return Loop[P, R](function)


class Loop(Generic[P, R]):
    """A loop, compiled when it is first called with a combination of types."""

    def __init__(self, function: FunctionType) -> None:
        self.function = function
        self.machines: dict[tuple[object, ...], Callable[..., R]] = {}
        self._inner: Callable[P, R] | None = None

    def __call__(self, *values: P.args, **named: P.kwargs) -> R:
        """Run the loop."""
        given: tuple[object, ...] = values
        if named:
            given = inspect.signature(self.function).bind(*values, **named).args
        kinds = tuple([_kind(value) for value in given])
        return (self.machines.get(kinds) or self._made(kinds, given))(*given)

    def inner(self) -> Callable[P, R]:
        """Return the compiler's own form of the loop, which becomes a part of the loops that call it."""
        import numba

        from ladderlight_stages.object_code import FOR_MACHINES, HOW

        with _LOCK:
            if self._inner is None:
                self._inner = numba.njit(**HOW, **FOR_MACHINES)(self._linked())
            return self._inner

    def _made(self, kinds: tuple[object, ...], values: tuple[object, ...]) -> Callable[..., R]:
        """Return the machine code for some types, ready to run; of several threads one compiles it."""
        with _LOCK:
            if kinds not in self.machines:
                if machine := machine_code.machine_for(self._linked, kinds, values, self.ingredients()):
                    self.machines[kinds] = machine
                else:
                    import numba

                    from ladderlight_stages.object_code import HOW

                    self.machines[kinds] = numba.njit(**HOW)(self._linked())
            return self.machines[kinds]

    def _captured(self) -> Iterator[tuple[str, object]]:
        """Yield the names in its module that the loop reads, with their values."""
        codes = [self.function.__code__]
        for code in codes:
            codes += [constant for constant in code.co_consts if isinstance(constant, CodeType)]
        known = self.function.__globals__
        for name in sorted({name for code in codes for name in code.co_names} & known.keys()):
            yield name, known[name]

    def _linked(self) -> FunctionType:
        """Return the function with the loops that it calls replaced by their machine code, for the compiler."""
        loops = {name: value.inner() for name, value in self._captured() if isinstance(value, Loop)}
        function = self.function
        linked = FunctionType(function.__code__, function.__globals__ | loops, function.__name__)
        linked.__module__, linked.__qualname__ = function.__module__, function.__qualname__
        return linked

    def ingredients(self) -> Iterator[object]:
        """Yield everything that is compiled in: code and numbers, those of the loops that this one calls included."""
        yield self.function.__code__
        for name, value in self._captured():
            if isinstance(value, Loop):
                yield from value.ingredients()
            else:
                yield name, machine_code.constant(value)


def _kind(value: Any) -> object:
    """Return a key with one value for each type that the compiler distinguishes."""
    if isinstance(value, tuple):
        return tuple(map(_kind, value))
    flags = getattr(value, "flags", None)
    if flags is None or not value.ndim:
        return type(value).__name__ if type(value) is not int or value in _SIGNED else "unsigned"
    order = "C" if flags.c_contiguous else "F" if flags.f_contiguous else "A"  # one row or pixel is in both orders
    return value.dtype.str, value.ndim, order, flags.aligned, flags.writeable
