"""The last build of a recipe, read back from its output folder."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ladderlight.board import Board, Finding
from ladderlight.devices.files import images_of
from ladderlight.errors import BuildError, DocumentError, LadderlightError
from ladderlight.flow.pictures import DeviceFile
from ladderlight.proof.scanout import read_memories
from ladderlight.recipe import Recipe
from ladderlight.recipe.inputs import changes_since
from ladderlight.storage.output import settled
from ladderlight.storage.record import Owner, refuse_another
from ladderlight.system.versions import changed_versions
from ladderlight.units.arrays import Bytes, MemoryWords
from ladderlight.workspace.manifest import FILE, Manifest, read_manifest

_MOST_NAMED = 4


@dataclass(frozen=True, kw_only=True)
class LastBuild:
    """What the output folder holds: the manifest, and from the device files all words and each device's image."""

    manifest: Manifest
    words: MemoryWords
    images: Mapping[str, bytes]
    files: tuple[DeviceFile, ...]
    """The device files with their spans, without data."""

    @property
    def pictures(self) -> dict[int, list[str]]:
        """Names of the pictures in each bank that holds any."""
        banks: dict[int, list[str]] = {}
        for picture in self.manifest.pictures:
            banks.setdefault(picture.bank, []).append(picture.name)
        return banks

    @property
    def image_arrays(self) -> dict[str, Bytes]:
        """Images as arrays."""
        return {name: np.frombuffer(image, dtype=np.uint8) for name, image in self.images.items()}


def last_build(output: Path, board: Board, owner: Owner | None = None) -> LastBuild:
    """Read the last build of a board, which must be of a recipe, if an owner is given.

    Raises
    ------
    BuildError
        When there is none, or it was of another board or recipe.
    DocumentError
        When its manifest is damaged.
    DeviceFileError
        When its device files are damaged.
    """
    with settled(output):
        if owner is not None:
            refuse_another(output, owner)
        return _last_build(output, board)


def _last_build(output: Path, board: Board) -> LastBuild:
    path = output / FILE
    manifest = read_manifest(output)
    if manifest is None:
        raise BuildError("there is no build yet; run ladderlight build first", where=path)
    built = [(device.name, device.part, device.bytes) for device in manifest.devices]
    if built != [(device.name, device.part.number, device.part.bytes) for device in board.devices]:
        raise BuildError("the last build was of other devices than the recipe has now; build again", where=path)
    files = tuple(piece.of_device(device.name) for device in manifest.devices for piece in device.pieces)
    words = read_memories(board, output / "devices", files)
    return LastBuild(manifest=manifest, words=words, images=images_of(board, words), files=files)


def stale_findings(recipe: Recipe) -> list[Finding]:
    """Return a caution when the device files on disk are not those of the recipe as it is now, with the reason.

    Nothing when there is no build, or no inputs are recorded in its manifest.
    """
    try:
        with settled(recipe.output):
            manifest = read_manifest(recipe.output)
        changed = changes_since(manifest.plain_inputs, recipe) if manifest and manifest.inputs else []
    except DocumentError as error:
        return [Finding(level="caution", where=fault.where, message=fault.message) for fault in error.faults]
    except LadderlightError as error:
        message = f"cannot be compared with the recipe ({error}); build again before you burn"
        return [Finding(level="caution", where="last build", message=message)]
    if not changed:
        return []
    more = f" and {len(changed) - _MOST_NAMED} more" if len(changed) > _MOST_NAMED else ""
    what = ", ".join(changed[:_MOST_NAMED]) + more
    message = f"{what}; the device files are those of before, so build again before you burn any"
    return [Finding(level="caution", where="last build", message=message)]


def version_findings(before: Manifest | None, now: Manifest) -> list[Finding]:
    """Return a caution for each device that differs from the build before by versions alone."""
    if before is None or before.inputs_digest != now.inputs_digest:
        return []
    cause = changed_versions(before.versions, now.versions)
    held = {(device.name, device.part): device.sha256 for device in before.devices}
    return [
        Finding(
            level="caution",
            where=f"device {device.name}",
            message=f"differs from the build before because of {cause} (same inputs); check the proof before burning",
        )
        for device in now.devices
        if cause and held.get((device.name, device.part), device.sha256) != device.sha256
    ]
