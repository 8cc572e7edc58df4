"""Screens as PNG files."""

import io
import struct
import zlib
from base64 import b64encode
from collections.abc import Iterable
from dataclasses import field
from typing import Any, Self

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray
from PIL import Image

from ladderlight.board import Board
from ladderlight.flow.images import MOST_INDEXED, saved
from ladderlight.proof.scanout import Scanned, colours_of
from ladderlight.system.frozen import Frozen

COMPRESSION = 2  # a third of the time of the usual 6 for a third more bytes, and there may be hundreds of screens
_INDEXED, _UP = 3, 2  # colour type and filter: W3C PNG, ISO/IEC 15948, 11.2.1 and 9.2
_MOST_EMPTY = 16  # banks that are shown when no picture names its bank


def shown_banks(board: Board, held: Iterable[int]) -> list[int]:
    """Choose the banks to show: those that hold pictures, or all up to 16 when nothing says where pictures are."""
    banks = sorted(set(held))
    return banks or list(range(min(board.bank_count, _MOST_EMPTY)))


def screen_names(scanned: Scanned) -> dict[int, str]:
    """Return the file below ``proof/`` of each bank's screen; equal ones share that of the first bank."""
    return {bank: f"screens/bank{scanned.distinct[content]}.png" for bank, content in scanned.contents.items()}


class Shown(Frozen, eq=False):
    """A screen as its file has it: a number for each pixel, (height, width), and the colour of each as RGBA in uint32.

    As such, colours are compared ten times as fast as in parts. Without a ``palette`` the numbers are the colours.
    """

    numbers: NDArray[Any]
    palette: NDArray[np.uint32] | None = None

    @classmethod
    def of(cls, png: bytes | None) -> Self | None:
        """Read a file; None of one that is missing or damaged."""
        try:
            with Image.open(io.BytesIO(png or b"")) as image:
                if image.mode == "P":
                    palette = np.frombuffer(bytes(image.getpalette("RGBA") or ()), np.uint32)
                    return cls(numbers=np.asarray(image), palette=palette)
                return cls(numbers=np.asarray(image.convert("RGBA")).view(np.uint32)[..., 0])
        except (OSError, ValueError, SyntaxError):
            return None

    @property
    def colours(self) -> NDArray[Any]:
        """The colour of each pixel."""
        return self.numbers if self.palette is None else self.palette.take(self.numbers, mode="clip")

    @property
    def small(self) -> bytes:
        """The file of the screen with each repeated pixel once, as far as all are repeated alike."""
        numbers = self.numbers
        for axis in (0, 1):
            rows = numbers if axis == 0 else np.ascontiguousarray(numbers.T)
            changes = np.flatnonzero((rows[1:] != rows[:-1]).any(axis=1)) + 1
            step = int(np.gcd.reduce(np.concatenate([changes, [len(rows)]])))
            numbers = numbers[::step] if axis == 0 else numbers[:, ::step]
        return type(self)(numbers=numbers, palette=self.palette).png

    @property
    def png(self) -> bytes:
        """The file of the screen."""
        if self.palette is not None:
            return _indexed_png(self.numbers, self.palette.view(np.uint8).reshape(-1, 4)[:, :3].tobytes())
        return to_png(np.ascontiguousarray(self.numbers).view(np.uint8).reshape(*self.numbers.shape, 4)[..., :3])


class Screen(Frozen, eq=False):
    """The screen of a bank of this build, and its file, at the mode's full resolution."""

    scanned: Scanned
    bank: int
    png: bytes = field(init=False)

    def __post_init__(self) -> None:
        coded = self._coded
        png = coded.png if coded else to_png(colours_of(self.scanned.board, self.scanned.screen(self.bank)))
        object.__setattr__(self, "png", png)

    @property
    def shown(self) -> Shown | None:
        """As the file has it, which is read only where that does not hold the codes themselves."""
        return self._coded or Shown.of(self.png)

    @property
    def _coded(self) -> Shown | None:
        """The codes as pixels; None where a pixel does not show one count, or there are more than 256 codes."""
        board, dots = self.scanned.board, self.scanned.board.raster.dots_per_count
        if len(board.palette) > MOST_INDEXED or not dots:
            return None
        numbers = self.scanned.screen(self.bank).astype(np.uint8)
        palette = np.insert(board.palette.srgb8, 3, 255, axis=1).view(np.uint32)[:, 0]
        # To repeat each once would take twice as long as to repeat a quarter of them four times.
        return Shown(numbers=numbers if dots == 1 else numbers.repeat(dots, axis=1), palette=palette)


def to_png(pixels: NDArray[np.uint8]) -> bytes:
    """Write pixels, uint8 (height, width, 3), as a PNG; with up to 256 colours as an indexed one, which is smaller."""
    red, green, blue = np.moveaxis(pixels, 2, 0).astype(np.uint32)
    packed = red << 16 | green << 8 | blue
    ordered = np.sort(packed, axis=None)  # np.unique takes thrice as long, and loads numpy.ma first
    colours = ordered[np.diff(ordered, prepend=ordered[0] + 1) != 0]
    if len(colours) > MOST_INDEXED:
        return saved(Image.fromarray(pixels), compression=COMPRESSION)
    palette = b"".join(int(colour).to_bytes(3, "big") for colour in colours)
    return _indexed_png(np.searchsorted(colours, packed).astype(np.uint8), palette)


def _indexed_png(values: NDArray[np.uint8], palette: bytes) -> bytes:
    """Return an indexed PNG in which lines like the one above are zeros, as most lines of an enlarged picture are.

    Pillow takes no filter for such pictures, and nearly twice as long.
    """
    height, width = values.shape
    lines = np.zeros((height, 1 + width), dtype=np.uint8)
    lines[:, 1:] = values
    alike = np.flatnonzero((values[1:] == values[:-1]).all(axis=1)) + 1
    lines[alike, 0], lines[alike, 1:] = _UP, 0
    header = struct.pack(">2I5B", width, height, 8, _INDEXED, 0, 0, 0)
    # Of an enlarged picture runs are enough: a sixth less time, for a third fewer to a third more bytes.
    runs = zlib.Z_RLE if 2 * alike.size >= height else zlib.Z_DEFAULT_STRATEGY
    packer = zlib.compressobj(COMPRESSION, strategy=runs)
    packed = packer.compress(lines.data) + packer.flush()
    chunks = {b"IHDR": header, b"PLTE": palette, b"IDAT": packed, b"IEND": b""}
    written = [
        struct.pack(f">I4s{len(data)}sI", len(data), name, data, zlib.crc32(name + data))
        for name, data in chunks.items()
    ]
    return b"\x89PNG\r\n\x1a\n" + b"".join(written)


def data_url(png: bytes) -> Markup:
    """Return a PNG as an address that holds it, for a page that loads nothing."""
    return Markup("data:image/png;base64," + b64encode(png).decode("ascii"))  # noqa: S704 - Base64 is plain text
