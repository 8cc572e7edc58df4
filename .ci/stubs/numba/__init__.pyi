"""Types of what the loops need of Numba, which has none of its own."""

from collections.abc import Callable
from typing import Any

from numba import np as np
from numba import types as types

class Signature:
    args: tuple[types.Type, ...]
    return_type: types.Type

class Dispatcher:
    nopython_signatures: list[Signature]
    def __call__(self, *values: Any, **named: Any) -> Any: ...
    def compile(self, args: tuple[types.Type, ...]) -> object: ...
    def inspect_llvm(self, args: tuple[types.Type, ...]) -> str: ...

def njit(**options: object) -> Callable[[Callable[..., Any]], Dispatcher]: ...
def typeof(value: object) -> types.Type: ...
