"""Long lists of which no more than one item is held: they are made anew whenever they are gone through."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, TypeVar

T = TypeVar("T")


class Passing(Sequence[T]):
    """What a call gives whenever it is made."""

    def __init__(self, call: Callable[[], Iterable[T]]) -> None:
        """Take the call, which gives the same each time."""
        self._call = call

    def __iter__(self) -> Iterator[T]:
        """Make the items."""
        return iter(self._call())

    def __len__(self) -> int:
        """Count the items."""
        return sum(1 for _ in self)

    def __getitem__(self, index: Any) -> Any:
        """Return an item or several."""
        return list(self)[index]
