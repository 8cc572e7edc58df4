"""Memories and the parts they are built from."""

from typing import Literal

from ladderlight.board.model.lines import Expression, Line, Signal
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import MemoryWords, Words, bytes_per_word

Erasure = Literal["ultraviolet", "bytes", "sectors", "unknown"]
Order = Literal["msb_first", "lsb_first"]
Output = Literal["direct", "register"]


class Part(Frozen):
    """A memory chip: ``words`` of ``width`` bits, and how it is erased. All parts read all ones when erased."""

    number: str
    words: int
    width: int
    erasure: Erasure = "unknown"
    block: int = 1
    """Bytes that are written or erased together: the page or the sector."""
    grades: tuple[float, ...] = ()
    """Access times in seconds in which the part is commonly sold, fastest first."""
    package: str = ""
    """Package, such as ``"DIP-28"``."""
    aliases: tuple[str, ...] = ()
    """Other numbers under which the same part is sold."""

    @property
    def address_pins(self) -> int:
        """Number of address pins."""
        return (self.words - 1).bit_length()

    @property
    def bytes(self) -> int:
        """Size of the programmer file."""
        return self.words * bytes_per_word(self.width)

    @property
    def erasing(self) -> str:
        """How it is erased, in words."""
        if self.erasure == "ultraviolet":
            return "ultraviolet light, the whole chip"
        if self.erasure == "unknown":
            return "not stated; see the datasheet"
        blocks = "pages" if self.erasure == "bytes" else self.erasure
        return "electrically, " + (f"in {blocks} of {self.block:,} bytes" if self.block > 1 else f"by {self.erasure}")

    def grade_within(self, seconds: float) -> float | None:
        """Return the slowest and cheapest grade that is fast enough; None when none is."""
        return max((grade for grade in self.grades if grade <= seconds), default=None)


_TABLE: tuple[tuple[Erasure, int, int, int, str, str], ...] = (
    ("ultraviolet", 24, 8, 1, "2716/27C16=2", "350 450"),
    ("ultraviolet", 24, 8, 1, "2732/2732A/27C32=4", "200 250 450"),
    ("ultraviolet", 28, 8, 1, "2764/2764A/27C64=8 27128/27128A/27C128=16", "150 200 250"),
    ("ultraviolet", 28, 8, 1, "27C256/27256=32 27C512/27512=64", "45 70 90 120 150 200 250"),
    ("ultraviolet", 32, 8, 1, "27C010/27C010A/27C1001=128", "45 70 90 120 150"),
    ("ultraviolet", 32, 8, 1, "27C020/27C2001=256 27C040/27C4001=512", "70 90 120 150"),
    ("ultraviolet", 32, 8, 1, "27C080/27C801/27C8001=1024", "90 100 120 150"),
    ("ultraviolet", 40, 16, 1, "27C1024/27C210=64", "70 90 120 150"),
    ("ultraviolet", 40, 16, 1, "27C4002/27C240/27C4096=256", "80 100 120 150"),
    ("bytes", 24, 8, 1, "28C16/28C16A/2816=2", "150 200 250"),
    ("bytes", 28, 8, 64, "28C64/28C64B=8", "120 150 200 250"),
    ("bytes", 28, 8, 64, "28C256/28C256A/28HC256=32", "150 200 250 350"),
    ("bytes", 32, 8, 128, "28C010/28C1024=128", "120 150 200"),
    ("sectors", 32, 8, 16 * 1024, "29F010/29F010B=128", "45 70 90 120"),
    ("sectors", 32, 8, 64 * 1024, "29F040/29F040B=512", "55 70 90 120"),
    ("sectors", 32, 8, 4 * 1024, "39SF010A/39SF010=128 39SF020A/39SF020=256 39SF040=512", "55 70"),
)
"""Erasure, pins of the dual in-line package, word width, bytes of a page or sector, numbers with other numbers of the
same part and kibiwords, access times in nanoseconds.

Generic JEDEC-type numbers. The other numbers, the packages, and the access times are from memory, 27C parts 45 to
250 ns, 28C256 150 to 350 ns; the datasheet rules.
"""

PARTS: dict[str, Part] = {
    names[0]: Part(
        number=names[0],
        words=int(kibiwords) * 1024,
        width=width,
        erasure=erasure,
        block=block,
        grades=tuple(int(grade) / 1e9 for grade in grades.split()),
        package=f"DIP-{pins}",
        aliases=tuple(names[1:]),
    )
    for erasure, pins, width, block, sizes, grades in _TABLE
    for numbers, kibiwords in (size.split("=") for size in sizes.split())
    for names in (numbers.split("/"),)
}
"""The parts by their usual number."""

PART_NAMES: dict[str, Part] = PARTS | {alias: part for part in PARTS.values() for alias in part.aliases}
"""The parts by every number under which they are sold."""


class Packing(Frozen):
    """Several pixels in a word, on the lowest x bits.

    With a direct output a multiplexer picks them while the word is read; with a registered one a shift register takes
    the word when it is complete and sends its pixels out while the next is read.
    """

    pixels: int = 1
    order: Order = "msb_first"

    @property
    def select_bits(self) -> int:
        """How many x bits pick the pixel."""
        return self.pixels.bit_length() - 1


class Device(Frozen):
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

    def words(self, words: MemoryWords) -> Words:
        """Return the chip's words out of those of all memories."""
        return words[self.memory][self.first_word : self.first_word + self.part.words]


class Memory(Frozen):
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
    def wires(self) -> tuple[Line, ...]:
        """All lines that enter its address, gates included, named lines as they are."""
        return tuple(line for expression in self.address for line in expression.lines)

    @property
    def tied_pins(self) -> tuple[int, ...]:
        """Address pins that a constant alone drives."""
        return tuple(
            pin
            for pin, expression in enumerate(self.address)
            if all(line.signal is Signal.CONSTANT for line in expression.lines)
        )

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
        return tuple(Device(name=name, memory=self.name, part=self.part, index=at) for at, name in enumerate(names))

    def shift_of(self, slot: int) -> int:
        """Return the position in the word of the pixel that is sent ``slot`` pixels after the first."""
        place = self.packing.pixels - 1 - slot if self.packing.order == "msb_first" else slot
        return place * self.pixel_width
