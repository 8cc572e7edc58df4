"""Models of the documents that are kept between commands, by which those are checked that others may have changed."""

import base64
import binascii
import json
import zlib
from collections.abc import Collection, Iterable
from functools import cached_property
from typing import Annotated, Any, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from ladderlight.devices.files import checksums_of, refuse_name
from ladderlight.errors import DeviceFileError
from ladderlight.flow.pictures import ByteOrder


class Kept(BaseModel):
    """Base of the models of documents: frozen, strict types, unknown keys ignored."""

    model_config = ConfigDict(frozen=True, strict=True, extra="ignore", defer_build=True)


_Size = Annotated[int, Field(ge=0, le=1 << 32)]
_Tray = Annotated[int, Field(ge=1)] | None


def _inside(name: str) -> str:
    try:
        refuse_name(name)
    except DeviceFileError:
        raise ValueError(f"names a device file {name[:60]!r} outside its folder") from None
    return name


class _Piece(Kept):
    file: Annotated[str, AfterValidator(_inside)]
    bytes: _Size
    first: _Size
    step: Annotated[int, Field(ge=1, le=4)]
    order: ByteOrder
    offset: _Size


class _Device(Kept):
    name: str
    tray: _Tray = None
    part: str
    bytes: _Size
    sha256: str
    width: _Size = 0
    pieces: list[_Piece]


class _Input(Kept):
    file: str
    bytes: Annotated[int, Field(ge=0)]
    sha256: str


class _Picture(Kept):
    name: str
    tray: _Tray = None
    bank: _Size
    screen: str | None = None


class Manifest(Kept):
    """What commands read back of a manifest. Builds of earlier versions may lack what has a default."""

    format: Literal[1]
    devices: list[_Device]
    inputs: list[_Input] = Field(default_factory=list)
    versions: dict[str, str] = Field(default_factory=dict)
    pictures: list[_Picture]


RECORD_FORMAT = 3

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

    format: Annotated[int, Field(ge=RECORD_FORMAT, le=RECORD_FORMAT)] = RECORD_FORMAT
    chips: list[Chip] = Field(default_factory=list)

    @model_validator(mode="before")
    @classmethod
    def _upgraded(cls, found: Any) -> Any:
        if not isinstance(found, dict):
            return found
        if found.get("format") == 2:
            return {**found, "format": RECORD_FORMAT}
        if found.get("format") != 1 or not isinstance(found.get("devices"), dict):
            return found
        entries = found["devices"].items()
        return {
            "format": RECORD_FORMAT,
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
        return self.model_copy(update={"chips": [*kept, *new.values()]})

    def adopted_by(self, recipe: str, devices: Collection[str]) -> Self:
        """Return the record with chips of format 1 given to a recipe."""

        def owned(chip: Chip) -> Chip:
            meant = chip.recipe is None and not chip.foreign and chip.device in devices
            return chip.model_copy(update={"recipe": recipe}) if meant else chip

        return self.model_copy(update={"chips": list(map(owned, self.chips))})

    @property
    def text(self) -> str:
        """The record as it is written."""
        chips = [chip.model_dump(exclude_unset=True) for chip in self.chips]
        return json.dumps({"format": RECORD_FORMAT, "chips": chips}, indent=2) + "\n"
