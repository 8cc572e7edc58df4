"""The kinds of stage, which follow from what flows in and out."""

from __future__ import annotations

from enum import StrEnum

_MANY = ("Sequence", "list", "tuple", "Iterable", "Iterator")


class Kind(StrEnum):
    """What a stage does, in the order in which the kinds follow each other in a chain."""

    SOURCE = "source"
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
        return self.rank <= Kind.CODED.rank

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
    Kind.PICTURE: "picture to picture",
    Kind.REDUCTION: "picture to coded picture",
    Kind.CODED: "coded picture to coded picture",
    Kind.ARRANGEMENT: "coded pictures to contents",
    Kind.EMISSION: "contents to device files",
}

_KINDS = {
    ("Path", "many Picture"): Kind.SOURCE,
    ("Picture", "Picture"): Kind.PICTURE,
    ("Picture", "CodedPicture"): Kind.REDUCTION,
    ("CodedPicture", "CodedPicture"): Kind.CODED,
    ("many CodedPicture", "Contents"): Kind.ARRANGEMENT,
    ("Contents", "many DeviceFile"): Kind.EMISSION,
}


def kind_of(first: str, result: str) -> Kind | None:
    """Give the kind of a stage from the text of its first parameter's and its result's annotation, or None."""
    return _KINDS.get((_normal(first), _normal(result)))


def _normal(text: str) -> str:
    outer, bracket, inner = text.partition("[")
    outer = outer.rpartition(".")[2]
    if bracket and outer in _MANY:
        inner = inner.removesuffix("]").removesuffix(", ...")
        return f"many {inner.rpartition('.')[2]}"
    return outer


def kinds_in_words() -> str:
    """Return the signatures that a stage may have, for a message."""
    return "give one of " + ", ".join(
        f"{a.replace('many ', 'Sequence of ')} -> {b.replace('many ', 'Sequence of ')}" for a, b in _KINDS
    )
