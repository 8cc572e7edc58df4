"""The manifest of a build as plain values, in the order in which they are written."""

from collections.abc import Mapping, Sequence
from typing import Any, Literal, NotRequired, TypedDict


class OfTray(TypedDict):
    """What belongs to a tray, where there are several sets of chips."""

    tray: NotRequired[int]


class OfRevision(TypedDict):
    """What belongs to a revision, where the recipe has several boards."""

    revision: NotRequired[str]


class BlocksDocument(TypedDict):
    """A run of pages or sectors, by the addresses of its first and last byte."""

    first: int
    last: int


class BurnDocument(TypedDict):
    """Whether a device must be burned, and how much of it; see :class:`ladderlight.workspace.burned.Burn`."""

    known: bool
    differing: int
    erasure: str
    text: str
    eraser: bool | None
    block: int
    block_count: int
    blocks: Sequence[BlocksDocument] | None


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
    """One file of a device, the checksums of the bytes that are burned from it, and the span of the image it holds."""

    file: str
    format: str
    bytes: int
    first: int
    step: int
    order: Literal["little", "big"]
    offset: int


class DeviceDocument(Checksums, OfTray):
    """One device, with its checksums in the byte order of its first file."""

    name: str
    memory: str
    part: str
    file: str | None
    files: Sequence[str]
    bytes: int
    changed: bool
    burn: BurnDocument
    words: int
    width: int
    first_word: int
    used_words: int
    free_words: int
    last_used: int | None
    banks: Sequence[BankDocument]
    pieces: Sequence[PieceDocument]


class PictureDocument(OfTray):
    """One picture and its bank. Further notes of the stages have keys of their own."""

    name: str
    source: str
    frame: int
    duration: float | None
    memory: str | None
    memories: Sequence[str]
    bank: int
    step: NotRequired[float]
    """Seconds for which the board shows the bank, where a counter steps through the banks."""
    screen: NotRequired[str]
    """The file in the output folder that shows it; equal screens share one."""
    metrics: NotRequired[Mapping[str, Any]]
    caution: NotRequired[str]


class InputDocument(TypedDict):
    """One file that a build is made from."""

    file: str
    bytes: int
    sha256: str


class ManifestDocument(OfRevision):
    """A manifest."""

    format: Literal[1]
    project: str
    devices: Sequence[DeviceDocument]
    inputs: Sequence[InputDocument]
    versions: Mapping[str, str]
    notes: Sequence[str]
    pictures: Sequence[PictureDocument]
