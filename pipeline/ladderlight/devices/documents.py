"""The manifest of a build as plain values, as far as its keys are read here."""

from collections.abc import Mapping, Sequence
from typing import Any, NotRequired, TypedDict

from ladderlight.flow.pictures import ByteOrder


class BurnDocument(TypedDict):
    """Whether a device must be burned."""

    known: bool
    text: str


class BankDocument(TypedDict):
    """A bank as far as one device holds it. Addresses count words from the device's first one.

    ``bank`` is the lowest of the banks that look alike to the memory: one without bank lines has only bank 0. ``used``
    is the number of words that its pixels read; the others up to ``last`` are padding, or another bank's.
    """

    bank: int
    pictures: Sequence[str]
    first: int
    last: int
    used: int


class Checksums(TypedDict):
    """Checksums by the names that the manifest has."""

    crc32: str
    sum8: str
    sum16: str
    sum32: str
    sha256: str


class PieceDocument(Checksums):
    """One file of a device."""

    file: str
    format: str
    bytes: int
    first: int
    step: int
    order: ByteOrder
    offset: int


class DeviceDocument(TypedDict):
    """One device."""

    name: str
    tray: NotRequired[int]
    memory: str
    part: str
    files: Sequence[str]
    bytes: int
    sha256: str
    changed: bool
    burn: BurnDocument
    words: int
    width: int
    used_words: int
    free_words: int
    last_used: int | None
    banks: Sequence[BankDocument]
    pieces: Sequence[PieceDocument]


class PictureDocument(TypedDict):
    """One picture and its bank."""

    name: str
    tray: NotRequired[int]
    source: str
    frame: int
    bank: int
    step: NotRequired[float]
    screen: str
    metrics: NotRequired[Mapping[str, Any]]
    caution: NotRequired[str]


class ManifestDocument(TypedDict):
    """A manifest."""

    project: str
    revision: NotRequired[str]
    devices: Sequence[DeviceDocument]
    inputs: Sequence[Mapping[str, Any]]
    versions: Mapping[str, str]
    notes: Sequence[str]
    pictures: Sequence[PictureDocument]
