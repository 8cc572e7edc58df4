"""What flows through a chain of stages: pictures, coded pictures, contents and files; patterns for their names.

Nothing here imports numpy or Pillow at run time, so that stages can be declared and listed without them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from ladderlight.system.frozen import Frozen

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from ladderlight.units.arrays import Words


T = TypeVar("T")


@dataclass(frozen=True, kw_only=True, slots=True)
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
    """The bank that the recipe gives it, or None."""
    animated: bool = False
    """Whether it is a frame of an animation, by its file or an arrangement of the recipe."""


Note = str | int | float | bool

Box = tuple[float, float, float, float]
"""Left, top, right and bottom as shares of a width and a height; left and right change places where it is mirrored."""
WHOLE: Box = (0.0, 0.0, 1.0, 1.0)


class FilePart(Frozen):
    """Which part of its file a picture shows.

    ``size`` is the width and height of the file's picture as it stands upright, in pixels. ``box`` is the part of it
    that the picture's edges enclose, which a border makes larger than the file; None where that is not known.
    """

    size: tuple[int, int]
    box: Box | None = WHOLE

    def within(self, inner: Box) -> FilePart:
        """Return the part that a box in the picture encloses."""
        if self.box is None:
            return self
        left, top, right, bottom = self.box
        across, down = right - left, bottom - top
        x0, y0, x1, y1 = inner
        return replace(self, box=(left + x0 * across, top + y0 * down, left + x1 * across, top + y1 * down))

    @property
    def crop(self) -> tuple[int, int, int, int] | None:
        """Left, top, right and bottom of what is shown of the file, in its pixels; None where that is not known."""
        if self.box is None:
            return None
        width, height = self.size
        left, right = sorted(round(min(1.0, max(0.0, x)) * width) for x in self.box[::2])
        top, bottom = sorted(round(min(1.0, max(0.0, y)) * height) for y in self.box[1::2])
        return left, top, right, bottom


class SourceView(Frozen):
    """A picture as it was before the reduction, small, to be shown beside what became of it.

    ``data`` is a JPEG in the board's pixels, sRGB. ``size`` is that of the file's picture, and ``crop`` the box in it
    that is shown, see :class:`FilePart`; each None where it is not known.
    """

    data: bytes = field(repr=False)
    size: tuple[int, int] | None = None
    crop: tuple[int, int, int, int] | None = None


class Picture(Frozen):
    """A picture before reduction: ``pixels`` float32 (height, width, 3), linear light, 0 to 1, sRGB primaries."""

    origin: Origin
    pixels: NDArray[np.float32]
    notes: Mapping[str, Note] = field(default_factory=dict)
    """For the manifest, by name. ``caution`` is what a careful user should know of the file; a build prints it."""
    part: FilePart | None = None
    """Which part of its file it shows; None of a source that does not say."""

    view: SourceView | None = field(default=None, repr=False)
    """How it is shown beside what becomes of it; for the engine, which sets it before the reduction."""

    def with_pixels(self, pixels: NDArray[np.float32], box: Box | None = None) -> Picture:
        """Return the same picture with other pixels, float32 (height, width, 3).

        ``box`` is what they show of the picture, for the proof page; the whole is ``(0, 0, 1, 1)``. By default pixels
        of the same shape show the same, and of others it is not known what they show.
        """
        part = self.part
        if part is not None and box is not None:
            part = part.within(box)
        elif part is not None and pixels.shape != self.pixels.shape:
            part = replace(part, box=None)
        return replace(self, pixels=pixels, part=part, view=None)

    def with_turned_pixels(self, pixels: NDArray[np.float32]) -> Picture:
        """Return the same picture with pixels that show the file in another direction than it stands."""
        return replace(self, pixels=pixels, part=self.part and replace(self.part, box=None), view=None)

    def with_notes(self, notes: Mapping[str, Note]) -> Picture:
        """Return the same picture with notes added."""
        return replace(self, notes={**self.notes, **notes})

    def coded(self, codes: NDArray[np.uint16]) -> CodedPicture:
        """Return the coded picture of the same origin."""
        return CodedPicture(origin=self.origin, codes=codes, notes=self.notes)


class CodedPicture(Frozen):
    """A picture reduced to the board's codes: ``codes`` uint16, shape (height, width).

    For the manifest, by name: ``metrics`` are figures that were measured, some of them tables such as mean and 95th
    percentile; ``notes`` are what the stages chose, and why.
    """

    origin: Origin
    codes: NDArray[np.uint16]
    metrics: Mapping[str, Any] = field(default_factory=dict)
    notes: Mapping[str, Note] = field(default_factory=dict)
    view: SourceView | None = field(default=None, repr=False)
    """The picture before the reduction. The engine puts it in after the last stage, for the proof page."""

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


class Animation(Frozen):
    """Pictures that an arrangement shows one after another, in their order: what does not move in them keeps its codes.

    ``match`` is a pattern for their names or file names. A colour counts as unchanged up to the distance ``still`` in
    OKLab.
    """

    match: str = "*"
    still: float = JUST_SEEN


class PlacedPicture(Frozen):
    """A picture and the bank it was put into.

    ``step`` is for how many seconds the board shows the bank, where a counter steps through the banks.
    """

    origin: Origin
    bank: int
    step: float | None = None


class MemoryContents(Frozen):
    """The words of one memory.

    ``words`` unsigned, one per address. ``written``, the same shape: the bits of each word that something reads. Bits
    that nothing reads hold the memory's fill. A stage may use any unsigned type; merged they have the smallest that
    holds the memory's words.
    """

    words: Words
    written: Words


class TileSet(Frozen):
    """The unique tiles that an arrangement has put into a memory which another one addresses.

    ``codes`` uint16, shape (tiles, height, width): each tile as the memory holds it. ``numbers`` int64, shape
    (tiles,): its number in the map. ``addresses`` int64, shape (tiles, words): those of its words.
    """

    memory: str
    codes: NDArray[np.uint16]
    numbers: NDArray[np.int64]
    addresses: NDArray[np.int64]


class Contents(Frozen):
    """The words to be burned, by memory, before they are split into device files."""

    memories: Mapping[str, MemoryContents]
    pictures: tuple[PlacedPicture, ...] = field(default=())
    tile_sets: tuple[TileSet, ...] = field(default=())
    notes: tuple[str, ...] = field(default=())
    """Remarks on the arrangement for the user, one line each: what was merged, and how much of it is visible."""


ByteOrder = Literal["little", "big"]


class Span(Frozen):
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


class DeviceFile(Frozen):
    """One file for a device programmer, made by an emission stage."""

    device: str
    """Name of the device the file is for."""
    name: str
    """File name below ``devices/``. The engine puts the project's name in place of ``{project}``."""
    data: bytes = field(repr=False)
    span: Span | None = Span()
    """What the file holds of the device; None for a file beside it that is not read back, such as a picture."""


def matching(pattern: str, named: Sequence[tuple[T, Sequence[str]]]) -> list[T]:
    """Return the items that a pattern with ``*``, ``?`` and ``[...]`` matches by one of their names, in their order.

    A name may hold the characters of patterns: an item whose name is the pattern is matched alone.
    """
    literal = [item for item, names in named if pattern in names]
    return literal or [item for item, names in named if any(fnmatchcase(name, pattern) for name in names)]


def file_name(source: str) -> str:
    """Return the last part of a path with ``/``."""
    return source.rpartition("/")[2]
