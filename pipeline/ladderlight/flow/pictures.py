"""What flows through a chain of stages: pictures, coded pictures, contents and files.

Nothing here imports numpy or Pillow at run time, so that stages can be declared and listed without them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from ladderlight.units.arrays import Words


@dataclass(frozen=True, kw_only=True)
class Origin:
    """Where a picture comes from and where it must go."""

    name: str
    """Unique within a build: the file's stem, with ``#n`` for the later frames of an animation."""
    source: str
    """The file as the recipe names it, relative to the recipe."""
    frame: int = 0
    """Index of the frame in its file."""
    duration: float | None = None
    """Seconds for which the frame is shown, in files that have durations."""
    bank: int | None = None
    """The bank that the recipe asks for, if it does."""
    animated: bool = False
    """Whether it is a frame of an animation, by its file or an arrangement of the recipe."""


Note = str | int | float | bool


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture before reduction: ``pixels`` float32 (height, width, 3), linear light, 0 to 1, sRGB primaries."""

    origin: Origin
    pixels: NDArray[np.float32]
    notes: Mapping[str, Note] = field(default_factory=dict)
    """For the manifest, by name. ``caution`` is what a careful user should know of the file; a build prints it."""

    def with_pixels(self, pixels: NDArray[np.float32]) -> Picture:
        """Return the same picture with other pixels."""
        return replace(self, pixels=pixels)

    def with_notes(self, notes: Mapping[str, Note]) -> Picture:
        """Return the same picture with notes added."""
        return replace(self, notes={**self.notes, **notes})

    def coded(self, codes: NDArray[np.uint16]) -> CodedPicture:
        """Return the coded picture of the same origin."""
        return CodedPicture(origin=self.origin, codes=codes, notes=self.notes)


@dataclass(frozen=True, kw_only=True)
class CodedPicture:
    """A picture reduced to the board's codes: ``codes`` uint16, shape (height, width).

    For the manifest, by name: ``metrics`` are figures that were measured, some of them tables such as mean and 95th
    percentile; ``notes`` are what the stages chose, and why.
    """

    origin: Origin
    codes: NDArray[np.uint16]
    metrics: Mapping[str, Any] = field(default_factory=dict)
    notes: Mapping[str, Note] = field(default_factory=dict)

    @classmethod
    def of_card(cls, codes: NDArray[np.uint16]) -> CodedPicture:
        """Return the coded picture of a card. The engine puts the card's origin in."""
        return cls(origin=Origin(name="", source=""), codes=codes)

    def with_metrics(self, metrics: Mapping[str, Any]) -> CodedPicture:
        """Return the same coded picture with metrics added."""
        return replace(self, metrics={**self.metrics, **metrics})

    def with_notes(self, notes: Mapping[str, Note]) -> CodedPicture:
        """Return the same coded picture with notes added."""
        return replace(self, notes={**self.notes, **notes})


JUST_SEEN = 0.02
"""Distance in OKLab that is about the least seen: CSS Color Module Level 4, section 13.2, takes it as such."""


@dataclass(frozen=True, kw_only=True)
class Animation:
    """Pictures that an arrangement shows one after another, in their order: what does not move in them keeps its codes.

    ``match`` is a pattern for their names or file names. A colour counts as unchanged up to the distance ``still`` in
    OKLab.
    """

    match: str = "*"
    still: float = JUST_SEEN


@dataclass(frozen=True, kw_only=True)
class PlacedPicture:
    """A picture and the bank it was put into."""

    origin: Origin
    bank: int


@dataclass(frozen=True, kw_only=True)
class MemoryContents:
    """The words of one memory.

    ``words`` unsigned, one per address. ``written``, the same shape: the bits of each word that something reads. Bits
    that nothing reads hold the memory's fill. A stage may use any unsigned type; merged they have the smallest that
    holds the memory's words.
    """

    words: Words
    written: Words


@dataclass(frozen=True, kw_only=True)
class TileSet:
    """The unique tiles that an arrangement has put into a memory which another one addresses.

    ``codes`` uint16, shape (tiles, height, width): each tile as the memory holds it. ``numbers`` int64, shape
    (tiles,): its number in the map. ``addresses`` int64, shape (tiles, words): those of its words.
    """

    memory: str
    codes: NDArray[np.uint16]
    numbers: NDArray[np.int64]
    addresses: NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Contents:
    """The words to be burned, by memory, before they are split into device files."""

    memories: Mapping[str, MemoryContents]
    pictures: tuple[PlacedPicture, ...] = field(default=())
    tile_sets: tuple[TileSet, ...] = field(default=())
    notes: tuple[str, ...] = field(default=())
    """Remarks on the arrangement for the user, one line each: what was merged, and how much of it is visible."""


ByteOrder = Literal["little", "big"]


@dataclass(frozen=True, kw_only=True)
class Span:
    """Which bytes of a device's image a file holds. The image is the device's words as bytes, lowest address first."""

    first: int = 0
    """Index in the image of the file's first byte."""
    count: int | None = None
    """How many bytes the file holds; all that are left when not given."""
    step: int = 1
    """Distance in the image between the file's bytes: 2 for the even or the odd bytes of 16-bit words."""
    order: ByteOrder = "little"
    """Order of the bytes of a word in the image."""
    offset: int = 0
    """The address of the file's first byte, in formats that have addresses."""


@dataclass(frozen=True, kw_only=True)
class DeviceFile:
    """One file for a device programmer, made by an emission stage."""

    device: str
    """Name of the device the file is for."""
    name: str
    """File name below ``devices/``. The engine puts the project's name in place of ``{project}``."""
    data: bytes = field(repr=False)
    span: Span | None = Span()
    """What the file holds of the device; None for a file beside it that is not read back, such as a picture."""
