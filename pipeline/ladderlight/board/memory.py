"""Memories and the parts they are built from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ladderlight.board.lines import Expression

Erasure = Literal["ultraviolet", "bytes", "sectors", "unknown"]
Order = Literal["msb_first", "lsb_first"]
Output = Literal["direct", "register"]


@dataclass(frozen=True, kw_only=True)
class Part:
    """A memory chip: ``words`` of ``width`` bits, and how it is erased. All parts read all ones when erased."""

    number: str
    words: int
    width: int
    erasure: Erasure = "unknown"
    block: int = 1
    """Bytes that are written or erased together: the page or the sector."""

    @property
    def address_pins(self) -> int:
        """Number of address pins."""
        return (self.words - 1).bit_length()

    @property
    def bytes(self) -> int:
        """Size of the programmer file."""
        return self.words * ((self.width + 7) // 8)


def _parts(erasure: Erasure, width: int, block: int, **kibiwords: int) -> dict[str, Part]:
    return {
        number.lstrip("_"): Part(
            number=number.lstrip("_"), words=size * 1024, width=width, erasure=erasure, block=block
        )
        for number, size in kibiwords.items()
    }


# Generic JEDEC-type numbers. The datasheet rules.
PARTS: dict[str, Part] = {
    **_parts("ultraviolet", 8, 1, _2716=2, _2732=4, _2764=8, _27128=16, _27C256=32, _27C512=64),
    **_parts("ultraviolet", 8, 1, _27C010=128, _27C020=256, _27C040=512, _27C080=1024),
    **_parts("ultraviolet", 16, 1, _27C1024=64, _27C4002=256),
    **_parts("bytes", 8, 1, _28C16=2),
    **_parts("bytes", 8, 64, _28C64=8, _28C256=32),
    **_parts("bytes", 8, 128, _28C010=128),
    **_parts("sectors", 8, 16 * 1024, _29F010=128),
    **_parts("sectors", 8, 64 * 1024, _29F040=512),
    **_parts("sectors", 8, 4 * 1024, _39SF010A=128, _39SF020A=256, _39SF040=512),
}


@dataclass(frozen=True, kw_only=True)
class Packing:
    """Several pixels in a word, sent out by a shift register or picked by a multiplexer on the lowest x bits."""

    pixels: int = 1
    order: Order = "msb_first"

    @property
    def select_bits(self) -> int:
        """How many x bits pick the pixel."""
        return self.pixels.bit_length() - 1


@dataclass(frozen=True, kw_only=True)
class Device:
    """One physical chip of a memory."""

    name: str
    memory: str
    part: Part
    index: int
    """Position among the memory's chips; the chip at 0 holds the lowest addresses."""

    @property
    def first_word(self) -> int:
        """Address of the chip's first word in its memory."""
        return self.index * self.part.words


@dataclass(frozen=True, kw_only=True)
class Memory:
    """One memory as the scan sees it.

    ``address`` is what drives each address pin from A0 upward, those that select a chip last. ``data`` names the line
    that each data pin drives from D0 upward (with packing: each bit of a pixel), ``"-"`` where there is none.
    """

    name: str
    part: Part
    address: tuple[Expression, ...]
    data: tuple[str, ...]
    access: float | None = None
    """Access time in seconds."""
    output: Output = "direct"
    chips: int = 1
    packing: Packing = Packing()
    fill: int | None = None
    """The word in places that nothing reads; all ones when not given."""

    @property
    def words(self) -> int:
        """Capacity of all chips together."""
        return self.part.words * self.chips

    @property
    def address_pins(self) -> int:
        """Address pins and chip selection together."""
        return (self.words - 1).bit_length()

    @property
    def pixel_width(self) -> int:
        """Bits that reach the outputs at a time."""
        return self.part.width // self.packing.pixels

    @property
    def fill_word(self) -> int:
        """The word in places that nothing reads."""
        return (1 << self.part.width) - 1 if self.fill is None else self.fill

    @property
    def devices(self) -> tuple[Device, ...]:
        """The chips, lowest addresses first."""
        names = [self.name] if self.chips == 1 else [f"{self.name}-{index}" for index in range(self.chips)]
        return tuple(
            Device(name=name, memory=self.name, part=self.part, index=index) for index, name in enumerate(names)
        )

    def shift_of(self, slot: int) -> int:
        """Give the position in the word of the pixel that is sent ``slot`` pixels after the first."""
        place = self.packing.pixels - 1 - slot if self.packing.order == "msb_first" else slot
        return place * self.pixel_width
