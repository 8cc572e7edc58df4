"""Frozen dataclasses that are made quickly."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, Field, FrozenInstanceError, dataclass, field, fields
from reprlib import recursive_repr
from typing import TYPE_CHECKING, Any, ClassVar, NoReturn, dataclass_transform


@dataclass_transform(kw_only_default=True, frozen_default=True, field_specifiers=(field,))
class Frozen:
    """Base of frozen dataclasses whose fields are given by name; with ``eq=False`` each is equal to itself only.

    All share the methods below. A decorator would write and compile six for each class, which takes twenty times as
    long, and for the classes of one command a sixth of its time.
    """

    if TYPE_CHECKING:
        __dataclass_fields__: ClassVar[dict[str, Field[Any]]]
    __names: ClassVar[frozenset[str]]
    __compared: ClassVar[tuple[str, ...]]
    __defaults: ClassVar[Mapping[str, Any]]
    __factories: ClassVar[Mapping[str, Callable[[], Any]]]

    def __init_subclass__(cls, *, eq: bool = True) -> None:
        super().__init_subclass__()
        dataclass(init=False, repr=False, eq=False, kw_only=True)(cls)
        found = [each for each in fields(cls) if each.init]
        cls.__names = frozenset(each.name for each in found)
        cls.__compared = tuple(each.name for each in fields(cls) if each.compare)
        cls.__defaults = {each.name: each.default for each in found if each.default is not MISSING}
        cls.__factories = {each.name: each.default_factory for each in found if each.default_factory is not MISSING}
        if not eq:
            cls.__eq__, cls.__hash__ = object.__eq__, object.__hash__  # type: ignore[method-assign]

    def __init__(self, *unnamed: Any, **given: Any) -> None:
        """Take the fields. Raises TypeError when one has no value or no name, or there is no such field."""
        if unnamed:
            raise TypeError(f"{type(self).__name__} takes its fields by name: {', '.join(sorted(self.__names))}")
        if given.keys() != self.__names:
            made = {name: make() for name, make in self.__factories.items() if name not in given}
            given = {**self.__defaults, **made, **given}
            if wrong := given.keys() ^ self.__names:
                what = "has no field" if wrong - self.__names else "lacks the field"
                raise TypeError(f"{type(self).__name__} {what} {min(wrong - self.__names or wrong)!r}")
        self.__dict__.update(given)
        self.__post_init__()

    def __post_init__(self) -> None:
        """Complete the fields; does nothing by itself."""

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise FrozenInstanceError(f"cannot assign to field {name!r}")

    def __delattr__(self, name: str) -> NoReturn:
        raise FrozenInstanceError(f"cannot delete field {name!r}")

    @recursive_repr()
    def __repr__(self) -> str:
        shown = (f"{each.name}={getattr(self, each.name)!r}" for each in fields(self) if each.repr)
        return f"{type(self).__qualname__}({', '.join(shown)})"

    def __eq__(self, other: object) -> bool:
        return self.__values() == other.__values() if type(other) is type(self) else NotImplemented

    def __hash__(self) -> int:
        return hash(self.__values())

    def __values(self) -> tuple[Any, ...]:
        return tuple([getattr(self, name) for name in self.__compared])
