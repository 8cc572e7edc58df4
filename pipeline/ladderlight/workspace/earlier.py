"""What the output folder holds before a build replaces it, and what the chips hold, for what the build changes."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from hashlib import sha256
from typing import TYPE_CHECKING, Self

from ladderlight.devices.documents import DeviceDocument, ManifestDocument
from ladderlight.engine.trays import folder_of
from ladderlight.errors import DocumentError, LadderlightError
from ladderlight.proof.changes import FILE, FORMAT, Before, EarlierBuild
from ladderlight.recipe import Recipe
from ladderlight.storage.journal import is_inside
from ladderlight.storage.record import MANIFEST, as_written
from ladderlight.system.frozen import Frozen
from ladderlight.system.printable import printable
from ladderlight.units.arrays import Bytes
from ladderlight.workspace.description import in_order
from ladderlight.workspace.last_build import LastBuild, last_build
from ladderlight.workspace.manifest import FORMAT as MANIFEST_FORMAT
from ladderlight.workspace.manifest import read_manifest

if TYPE_CHECKING:
    from ladderlight.workspace.models import Chip


class Earlier(Frozen):
    """The build that an output folder holds."""

    recipe: Recipe
    manifest: ManifestDocument | None

    @classmethod
    def of(cls, recipe: Recipe) -> Self:
        """Read its manifest; a damaged one is as good as none, since the build replaces it."""
        try:
            known = as_written(recipe.output, MANIFEST, MANIFEST_FORMAT)
            return cls(recipe=recipe, manifest=known or read_manifest(recipe.output))
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
        devices = [device for device in manifest["devices"] if device.get("tray") == number] if manifest else []
        if manifest is None or not devices:
            return None
        pictures = {printable(each["name"]): each for each in manifest["pictures"] if each.get("tray") == number}
        usual = f"proof/{folder_of(number)}screens/bank"  # of builds that do not name them
        screens = {name: each.get("screen") or f"{usual}{each['bank']}.png" for name, each in pictures.items()}
        return EarlierBuild(
            devices={device["name"]: device["sha256"] for device in devices},
            pictures={name: picture["bank"] for name, picture in pictures.items()},
            screens={name: self.recipe.output / file for name, file in screens.items() if is_inside(file)},
            document=as_written(self.recipe.output, f"proof/{folder_of(number)}{FILE}", FORMAT),
            images=lambda: self._images(number, devices),
        )

    @cached_property
    def _last(self) -> LastBuild:
        """The build, to read the files of its trays; raises LadderlightError where it is of another board."""
        return last_build(self.recipe.output, self.recipe.board, self.recipe.owner, self.manifest)

    def _images(self, number: int | None, devices: list[DeviceDocument]) -> dict[str, Bytes]:
        """Return the devices' bytes as that build gave them; not of files that were changed since."""
        try:
            tray = self._last.tray(number)
        except LadderlightError:
            return {}
        found = {}
        for device in devices:
            name, width, pieces = device["name"], device.get("width", 0), device["pieces"]
            if (
                pieces
                and sha256(in_order(tray.images[name], width, pieces[0]["order"])).hexdigest() == device["sha256"]
            ):
                found[name] = tray.image_arrays[name]
        return found
