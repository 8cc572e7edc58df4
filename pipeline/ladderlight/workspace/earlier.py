"""What the output folder holds before a build replaces it, and what the chips hold, for what the build changes."""

import json
from collections.abc import Mapping
from functools import cached_property
from hashlib import sha256
from typing import Annotated, Literal, Self

from pydantic import Field

from ladderlight.engine.trays import folder_of
from ladderlight.errors import DocumentError, LadderlightError
from ladderlight.proof.changes import FILE, FORMAT, Before, Changes, EarlierBuild
from ladderlight.recipe import Recipe
from ladderlight.storage.journal import is_inside
from ladderlight.system.frozen import Frozen
from ladderlight.system.printable import printable
from ladderlight.units.arrays import Bytes
from ladderlight.workspace.burned import Chip
from ladderlight.workspace.description import in_order
from ladderlight.workspace.documents import Kept, Listed, read_document
from ladderlight.workspace.last_build import LastBuild, last_build
from ladderlight.workspace.manifest import DeviceEntry, Manifest, PictureEntry, Size, read_manifest

_Png = Annotated[str, Field(pattern=r"^[A-Za-z0-9+/]+=*$")]


class _Bank(Kept):
    bank: Size
    pictures: Listed[str]
    differing: Size


class _Device(Kept):
    device: str
    differing: Size | None
    banks: Listed[_Bank]
    runs: Listed[Annotated[tuple[Size, Size], Field(strict=False)]]


class _Picture(Kept):
    name: str
    bank: Size | None
    was: Size | None
    state: Literal["new", "changed", "moved", "renamed", "gone", "unknown"]
    earlier: str | None = None
    share: float | None = None
    before: _Png | None = None
    after: _Png | None = None


class _Document(Kept):
    """``changes.json``, see :mod:`ladderlight.proof.changes`."""

    format: Annotated[int, Field(ge=FORMAT, le=FORMAT)]
    before: bool
    devices: Listed[_Device]
    pictures: Listed[_Picture]


class Earlier(Frozen):
    """The build that an output folder holds."""

    recipe: Recipe
    manifest: Manifest | None

    @classmethod
    def of(cls, recipe: Recipe) -> Self:
        """Read its manifest; a damaged one is as good as none, since the build replaces it."""
        try:
            return cls(recipe=recipe, manifest=read_manifest(recipe.output))
        except DocumentError:
            return cls(recipe=recipe, manifest=None)

    def tray(self, number: int | None, chips: Mapping[str, Chip]) -> Before:
        """Return what there was before a tray; ``chips`` are those that are recorded of it, by device."""
        parts = {device.name: (device.part.number, device.part.bytes) for device in self.recipe.board.devices}
        same = {name: chip for name, chip in chips.items() if parts.get(name) == (chip.part, chip.bytes)}
        held = {name: contents for name, chip in same.items() if (contents := chip.contents) is not None}
        return Before(build=self._build(number), chips=held)

    def _build(self, number: int | None) -> EarlierBuild | None:
        manifest = self.manifest
        devices = [device for device in manifest.devices if device.tray == number] if manifest else []
        if manifest is None or not devices:
            return None
        pictures = {printable(picture.name): picture for picture in manifest.pictures if picture.tray == number}
        screens = {name: _screen(picture) for name, picture in pictures.items()}
        return EarlierBuild(
            devices={device.name: device.sha256 for device in devices},
            pictures={name: picture.bank for name, picture in pictures.items()},
            screens={name: self.recipe.output / file for name, file in screens.items() if is_inside(file)},
            document=self._document(number),
            images=lambda: self._images(number, devices),
        )

    @cached_property
    def _last(self) -> LastBuild:
        """The build, to read the files of its trays; raises LadderlightError where it is of another board."""
        return last_build(self.recipe.output, self.recipe.board, self.recipe.owner, self.manifest)

    def _document(self, number: int | None) -> Changes | None:
        try:
            found = read_document(self.recipe.output / "proof" / folder_of(number) / FILE, _Document, "build again")
        except DocumentError:
            return None
        return json.loads(json.dumps(found.model_dump(exclude_unset=True, exclude={"format"}))) if found else None

    def _images(self, number: int | None, devices: list[DeviceEntry]) -> dict[str, Bytes]:
        """Return the devices' bytes as that build gave them; not of files that were changed since."""
        try:
            tray = self._last.tray(number)
        except LadderlightError:
            return {}
        return {
            device.name: tray.image_arrays[device.name]
            for device in devices
            if device.pieces and _sum_of(tray.images[device.name], device) == device.sha256
        }


def _screen(picture: PictureEntry) -> str:
    return picture.screen or f"proof/{folder_of(picture.tray)}screens/bank{picture.bank}.png"


def _sum_of(image: bytes, device: DeviceEntry) -> str:
    return sha256(in_order(image, device.width, device.pieces[0].order)).hexdigest()
