"""The record of what is in the chips, kept beside the recipes of a folder, and what must be burned again."""

import base64
import binascii
import json
import zlib
from collections.abc import Collection, Iterable
from functools import cached_property
from typing import Annotated, Any, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import ConfigDict, Field, model_validator

from ladderlight.board import Device
from ladderlight.board.model.memory import Erasure
from ladderlight.devices.files import checksums_of
from ladderlight.system.frozen import Frozen
from ladderlight.units.words import address
from ladderlight.workspace.documents import Kept, Listed

FILE = "burned.json"
"""Name of the record, beside the recipes."""
FORMAT = 3
_MOST_RUNS = 12

Scalar = str | int | float | bool | None
Key = tuple[str | None, str | None, int, str]
"""Recipe, revision, tray and device."""


class Chip(Kept):
    """One chip as it was last recorded. Recipe, revision, tray and device identify it.

    Format 1 has no recipe, and neither format 1 nor 2 has revisions or trays: their chips are those of the first tray.

    ``image`` is its contents, low byte of each word first: Base64 of deflated bytes. ``inputs`` and ``versions`` are
    of the build that it was burned from, see :mod:`ladderlight.workspace.manifest`.
    """

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, Scalar] = Field(init=False)

    recipe: str | None = None
    revision: str | None = None
    tray: Annotated[int, Field(ge=1)] = 1
    device: str
    part: str
    bytes: Annotated[int, Field(ge=1, le=1 << 32)]
    crc32: str
    sum16: str
    sha256: str
    image: str
    inputs: str | None = None
    versions: dict[str, str] | None = None

    @property
    def foreign(self) -> bool:
        """Whether a later version has recorded it by more than that; such a chip is kept as it is."""
        return bool(self.model_extra)

    @property
    def key(self) -> Key:
        """What identifies it."""
        return self.recipe, self.revision, self.tray, self.device

    @cached_property
    def contents(self) -> NDArray[np.uint8] | None:
        """The image's bytes, or None when it is damaged."""
        try:
            packed = base64.b64decode(self.image, validate=True)
            held = zlib.decompressobj().decompress(packed, self.bytes + 1)
        except (ValueError, binascii.Error, zlib.error):
            return None
        whole = len(held) == self.bytes and checksums_of(held)["sha256"] == self.sha256
        return np.frombuffer(held, dtype=np.uint8) if whole else None


class Record(Kept):
    """The record of a folder. Format 1, one set of devices without their recipe, and format 2 are read too."""

    format: Annotated[int, Field(ge=FORMAT, le=FORMAT)] = FORMAT
    chips: Listed[Chip] = ()

    @model_validator(mode="before")
    @classmethod
    def _upgraded(cls, found: Any) -> Any:
        if not isinstance(found, dict):
            return found
        if found.get("format") == 2:
            return {**found, "format": FORMAT}
        if found.get("format") != 1 or not isinstance(found.get("devices"), dict):
            return found
        entries = found["devices"].items()
        return {
            "format": FORMAT,
            "chips": [{**entry, "device": name} if isinstance(entry, dict) else entry for name, entry in entries],
        }

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        keys = [chip.key for chip in self.chips if not chip.foreign]
        if len(set(keys)) < len(keys):
            raise ValueError("records one device of a recipe twice")
        return self

    def of_recipe(self, recipe: str | None, revision: str | None = None) -> tuple[Chip, ...]:
        """Return the chips of a revision of a recipe, or of one without revisions."""
        return tuple(
            chip for chip in self.chips if (chip.recipe, chip.revision) == (recipe, revision) and not chip.foreign
        )

    def with_chips(self, chips: Iterable[Chip]) -> Self:
        """Return the record with these chips in place of those of the same keys; the others stay."""
        new = {chip.key: chip for chip in chips}
        kept = [chip if chip.foreign else new.pop(chip.key, chip) for chip in self.chips]
        return self.model_copy(update={"chips": (*kept, *new.values())})

    def adopted_by(self, recipe: str, devices: Collection[str]) -> Self:
        """Return the record with chips of format 1 given to a recipe."""

        def owned(chip: Chip) -> Chip:
            meant = chip.recipe is None and not chip.foreign and chip.device in devices
            return chip.model_copy(update={"recipe": recipe}) if meant else chip

        return self.model_copy(update={"chips": tuple(map(owned, self.chips))})

    @property
    def text(self) -> str:
        """The record as it is written."""
        chips = [chip.model_dump(exclude_unset=True) for chip in self.chips]
        return json.dumps({"format": FORMAT, "chips": chips}, indent=2) + "\n"


def chip_of(recipe: str, device: Device, image: bytes, **more: Any) -> Chip:
    """Return the record of a chip that holds this image now.

    ``more`` are ``revision`` and ``tray``, and ``inputs`` and ``versions`` of the build.
    """
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
    differs = (after if old is None else old) != after
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
        blank=bool((after == 0xFF).all()),
        differing=int(np.count_nonzero(differs)),
        cause=cause,
        erasure=erasure,
        eraser=eraser,
        block=block,
        blocks=blocks,
        against=against,
    )


def runs(numbers: NDArray[np.integer], size: int = 1) -> tuple[tuple[int, int], ...]:
    """Join ascending block numbers into runs: the first and the last address of each, for blocks of ``size``."""
    if not numbers.size:
        return ()
    breaks = np.flatnonzero(np.diff(numbers) > 1)
    firsts = numbers[np.concatenate([[0], breaks + 1])]
    lasts = numbers[np.concatenate([breaks, [numbers.size - 1]])]
    return tuple((int(first) * size, (int(last) + 1) * size - 1) for first, last in zip(firsts, lasts, strict=True))
