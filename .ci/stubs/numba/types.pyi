"""Of numba.types, only what is used."""

from collections.abc import Iterator

class Type: ...

class Array(Type):
    dtype: Type
    ndim: int

class BaseTuple(Type):
    def __iter__(self) -> Iterator[Type]: ...

none: Type

def unliteral(kind: Type) -> Type: ...
