"""The kinds of stage, which follow from what flows in and out."""

import typing
from enum import StrEnum
from typing import Any


class Kind(StrEnum):
    """What a stage does, in the order in which the kinds follow each other in a chain; a card stands in none."""

    SOURCE = "source"
    CARD = "card"
    PICTURE = "picture"
    REDUCTION = "reduction"
    CODED = "coded"
    ARRANGEMENT = "arrangement"
    EMISSION = "emission"

    @property
    def rank(self) -> int:
        """Position in the order of a chain."""
        return list(Kind).index(self)

    @property
    def per_picture(self) -> bool:
        """Whether the stage sees one picture at a time, so that a recipe can override its options for some."""
        return self is not Kind.CARD and self.rank <= Kind.CODED.rank

    @property
    def surveys(self) -> bool:
        """Whether the stage may look at all pictures before it is given the first."""
        return self.per_picture and self is not Kind.SOURCE

    @property
    def phrase(self) -> str:
        """What flows in and out, in words."""
        return _PHRASES[self]


_PHRASES = {
    Kind.SOURCE: "a file to pictures",
    Kind.CARD: "the board to a coded picture",
    Kind.PICTURE: "picture to picture",
    Kind.REDUCTION: "picture to coded picture",
    Kind.CODED: "coded picture to coded picture",
    Kind.ARRANGEMENT: "coded pictures to contents",
    Kind.EMISSION: "contents to device files",
}

_KINDS = {
    ("Path", "many Picture"): Kind.SOURCE,
    ("Board", "CodedPicture"): Kind.CARD,
    ("Picture", "Picture"): Kind.PICTURE,
    ("Picture", "CodedPicture"): Kind.REDUCTION,
    ("CodedPicture", "CodedPicture"): Kind.CODED,
    ("many CodedPicture", "Contents"): Kind.ARRANGEMENT,
    ("Contents", "many DeviceFile"): Kind.EMISSION,
}


def kind_of(first: str, result: str) -> Kind | None:
    """Return the kind of a stage from the :func:`flow_type` of its first parameter and of its result, or None."""
    return _KINDS.get((first, result))


def flow_type(hint: Any) -> str:
    """Return the kinds' name of a resolved annotation, such as ``many Picture``; of other types the full name."""
    if hasattr(hint, "__metadata__"):
        return flow_type(hint.__origin__)
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin is None:
        return flow_name(f"{getattr(hint, '__module__', '')}.{getattr(hint, '__qualname__', hint)}")
    return many_of(f"{origin.__module__}.{origin.__qualname__}", [flow_type(item) for item in arguments])


def flow_name(path: str) -> str:
    """Return the name of a type, given by its dotted path: without the path if the type is of the contract."""
    package, _, name = path.rpartition(".")
    known = package.startswith("ladderlight.") or package == "ladderlight" or path in _PATHS
    return name if known else path


def many_of(container: str, items: list[str]) -> str:
    """Return the name of several of what flows: ``many Picture`` for the dotted path of a container and pictures."""
    known = container in _CONTAINERS and items
    return f"many {items[0]}" if known else f"{container}[{', '.join(items)}]"


_PATHS = ("pathlib.Path", "pathlib._local.Path")  # the latter since Python 3.13
_CONTAINERS = (
    *(f"collections.abc.{name}" for name in ("Collection", "Generator", "Iterable", "Iterator", "Sequence")),
    *(f"typing.{name}" for name in ("Collection", "Generator", "Iterable", "Iterator", "Sequence", "List", "Tuple")),
    *("builtins.list", "builtins.tuple"),
)


def kinds_in_words() -> str:
    """Return the signatures that a stage may have, for a message."""
    return "give one of " + ", ".join(
        f"{a.replace('many ', 'Sequence of ')} -> {b.replace('many ', 'Sequence of ')}" for a, b in _KINDS
    )
