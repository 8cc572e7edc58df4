"""The record of what is in the chips, kept beside the recipes of a folder, and what must be burned again."""

from __future__ import annotations

import base64
import zlib
from typing import TYPE_CHECKING, Any

import numpy as np

from ladderlight.board import Device
from ladderlight.board.model.memory import Erasure
from ladderlight.devices.files import ERASED, checksums_of
from ladderlight.devices.occupancy import runs
from ladderlight.system.frozen import Frozen
from ladderlight.units.words import address

if TYPE_CHECKING:
    from ladderlight.workspace.models import Chip

FILE = "burned.json"
"""Name of the record, beside the recipes."""
_MOST_RUNS = 12


def chip_of(recipe: str, device: Device, image: bytes, **more: Any) -> Chip:
    """Return the record of a chip that holds this image now.

    ``more`` are ``revision`` and ``tray``, and ``inputs`` and ``versions`` of the build.
    """
    from ladderlight.workspace.models import Chip

    sums = checksums_of(image)
    return Chip(
        recipe=recipe,
        device=device.name,
        part=device.part.number,
        bytes=len(image),
        crc32=sums["crc32"],
        sum16=sums["sum16"],
        sha256=sums["sha256"],
        image=base64.b64encode(zlib.compress(image, 9)).decode("ascii"),
        **more,
    )


class Burn(Frozen):
    """Whether a device must be burned, and how much of it. Addresses count the bytes of its image.

    ``known`` is whether there is a record of what it holds; ``other`` the part that is recorded where the board has
    another now, else empty. ``blank`` is that it should hold nothing but FFh, as a new or erased chip does.
    ``differing`` bytes are not as they should be, and ``cause`` is the reason where the inputs are the same.
    ``eraser`` is for a chip that light erases whether bits must be set again; None for other chips.
    ``against`` is what the chip holds, in words, where that is not recorded.
    ``blocks`` are the first and last byte of each run of pages or sectors that differ, None where a part has none.
    """

    part: str
    size: int
    """Bytes of its image."""
    known: bool
    other: str = ""
    blank: bool
    differing: int
    cause: str = ""
    erasure: Erasure
    eraser: bool | None
    block: int
    blocks: tuple[tuple[int, int], ...] | None
    against: str = ""

    @property
    def needed(self) -> bool:
        """Whether the device must be burned."""
        return self.differing > 0 if self.known else not self.blank

    @property
    def block_count(self) -> int:
        """How many pages or sectors differ."""
        return sum((last + 1 - first) // self.block for first, last in self.blocks or ())

    @property
    def _held(self) -> str:
        return f"the chip of {self.against}" if self.against else "the recorded chip"

    @property
    def text(self) -> str:
        """The verdict in words, with what to do."""
        if self.other:
            return f"{self._held} is a {self.other}; a new {self.part} is needed"
        if not self.known:
            return "all FFh, as a new or erased chip is; no need to burn it" if self.blank else _UNKNOWN
        if not self.needed:
            return "holds this already"
        count = f"{self.differing:,} byte{'s' * (self.differing != 1)}"
        amount = f"differs from {self.against or 'the last build'} in {count}{self.cause}"
        if self.eraser is not None:
            return amount + ("; erase it, then burn it" if self.eraser else ", by cleared bits only; burn it as it is")
        if self.blocks is not None and self.block > 1:
            name = ("sector" if self.erasure == "sectors" else "page") + "s" * (self.block_count != 1)
            where = ", ".join(
                f"{address(first, self.size)} to {address(last, self.size)}" for first, last in self.blocks[:_MOST_RUNS]
            )
            more = ", and more" * (len(self.blocks) > _MOST_RUNS)
            return f"{amount}, in {self.block_count:,} {name} at {where}{more}; burn it"
        return f"{amount}; burn it"


_UNKNOWN = "no record of this chip; burn it"


def burn_of(chip: Chip | None, device: Device, image: bytes, *, cause: str = "", against: str = "") -> Burn:
    """Compare what a device should hold with what is recorded of it.

    Programming clears bits, and only erasing sets them: a chip that light erases can take a change that only clears
    bits as it is. Byte-erasable and flash parts are written by pages and sectors.
    """
    after = np.frombuffer(image, dtype=np.uint8)
    same_part = chip is not None and (chip.part, chip.bytes) == (device.part.number, device.part.bytes)
    old = chip.contents if chip is not None and same_part else None
    differs = np.zeros(0, dtype=bool) if old is None else old != after
    erasure, block = device.part.erasure, device.part.block
    eraser = None
    if old is not None and erasure == "ultraviolet" and differs.any():
        eraser = bool((after & ~old).any())
    blocks = None
    if old is not None and erasure in ("bytes", "sectors"):
        blocks = runs(np.unique(np.flatnonzero(differs) // block), block)
    return Burn(
        part=device.part.number,
        size=device.part.bytes,
        known=old is not None,
        other=chip.part if chip is not None and not same_part else "",
        blank=int(after.min()) == ERASED,
        differing=int(np.count_nonzero(differs)),
        cause=cause,
        erasure=erasure,
        eraser=eraser,
        block=block,
        blocks=blocks,
        against=against,
    )
