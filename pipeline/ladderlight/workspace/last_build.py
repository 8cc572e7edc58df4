"""The last build of a recipe, read back from its output folder."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import AfterValidator, Field

from ladderlight.board import Board, Finding
from ladderlight.devices.files import refuse_name
from ladderlight.errors import BuildError, DeviceFileError, DocumentError, LadderlightError
from ladderlight.flow.pictures import ByteOrder, DeviceFile, Span
from ladderlight.proof.scanout import read_memories
from ladderlight.recipe import Recipe
from ladderlight.recipe.inputs import changes_since
from ladderlight.storage.output import settled
from ladderlight.system.versions import changed_versions
from ladderlight.workspace.burned import device_image
from ladderlight.workspace.documents import Kept, read_document
from ladderlight.workspace.manifest import FORMAT, digest_of_inputs

FILE = "manifest.json"
"""Name of the manifest, in the output folder."""
_MOST_TOLD = 4

Size = Annotated[int, Field(ge=0, le=1 << 32)]


def _inside(name: str) -> str:
    try:
        refuse_name(name)
    except DeviceFileError:
        raise ValueError(f"names a device file {name[:60]!r} outside its folder") from None
    return name


class PieceEntry(Kept):
    """What the manifest says of one file of a device: the span that it holds."""

    file: Annotated[str, AfterValidator(_inside)]
    first: Size
    bytes: Size
    step: Annotated[int, Field(ge=1, le=4)]
    order: ByteOrder
    offset: Size


class DeviceEntry(Kept):
    """What the manifest says of one device."""

    name: str
    part: str
    bytes: Size
    sha256: str
    pieces: Annotated[tuple[PieceEntry, ...], Field(strict=False)]


class PictureEntry(Kept):
    """What the manifest says of one picture."""

    name: str
    bank: Size


class InputEntry(Kept):
    """What the manifest says of one file that a build is made from."""

    file: str
    bytes: Annotated[int, Field(ge=0)]
    sha256: str


class Manifest(Kept):
    """A manifest, as far as later commands read it. Builds of before there were inputs or versions have none."""

    format: Annotated[int, Field(ge=FORMAT, le=FORMAT)]
    devices: Annotated[tuple[DeviceEntry, ...], Field(strict=False)]
    pictures: Annotated[tuple[PictureEntry, ...], Field(strict=False)]
    inputs: Annotated[tuple[InputEntry, ...], Field(strict=False)] = ()
    versions: dict[str, str] = Field(default_factory=dict)

    @property
    def plain_inputs(self) -> list[dict[str, Any]]:
        """The inputs as a build describes them."""
        return [item.model_dump() for item in self.inputs]


@dataclass(frozen=True, kw_only=True)
class LastBuild:
    """What stands in the output folder: the manifest, and the words of all memories from the device files."""

    manifest: Manifest
    words: Mapping[str, NDArray[np.uint32]]
    files: tuple[DeviceFile, ...]
    """The device files with their spans, without data."""

    @property
    def pictures(self) -> dict[int, list[str]]:
        """Names of the pictures in each bank that holds any."""
        banks: dict[int, list[str]] = {}
        for picture in self.manifest.pictures:
            banks.setdefault(picture.bank, []).append(picture.name)
        return banks

    def images(self, board: Board) -> dict[str, NDArray[np.uint8]]:
        """Bytes of each device's image by name, low byte of each word first."""
        return {d.name: np.frombuffer(device_image(self.words, d), dtype=np.uint8) for d in board.devices}


def read_manifest(output: Path) -> Manifest | None:
    """Return the manifest of an output folder, or None when nothing was built there.

    Raises
    ------
    DocumentError
        When it is damaged.
    """
    return read_document(output / FILE, Manifest, "build again")


def last_build(output: Path, board: Board) -> LastBuild:
    """Read the last build of a board.

    Raises
    ------
    BuildError
        When there is none, or it was of another board.
    DocumentError
        When its manifest is damaged.
    DeviceFileError
        When its device files are damaged.
    """
    with settled(output):
        return _last_build(output, board)


def _last_build(output: Path, board: Board) -> LastBuild:
    path = output / FILE
    manifest = read_manifest(output)
    if manifest is None:
        raise BuildError("there is no build yet; run ladderlight build first", where=path)
    built = [(device.name, device.part, device.bytes) for device in manifest.devices]
    if built != [(device.name, device.part.number, device.part.bytes) for device in board.devices]:
        raise BuildError("the last build was of other devices than the recipe has now; build again", where=path)
    files = tuple(_file(device.name, piece) for device in manifest.devices for piece in device.pieces)
    return LastBuild(manifest=manifest, words=read_memories(board, output / "devices", files), files=files)


def stale_findings(recipe: Recipe) -> list[Finding]:
    """Say, as a caution, that the device files on disk are not what the recipe asks for now, and why.

    Nothing when there is no build, or it says nothing of what it was made from.
    """
    try:
        with settled(recipe.output):
            manifest = read_manifest(recipe.output)
        told = changes_since(manifest.plain_inputs, recipe) if manifest and manifest.inputs else []
    except DocumentError as error:
        return [Finding(level="caution", where=fault.where, message=fault.message) for fault in error.faults]
    except LadderlightError as error:
        message = f"cannot be compared with the recipe ({error}); build again before you burn"
        return [Finding(level="caution", where="last build", message=message)]
    if not told:
        return []
    more = f" and {len(told) - _MOST_TOLD} more" if len(told) > _MOST_TOLD else ""
    what = ", ".join(told[:_MOST_TOLD]) + more
    message = f"{what}; the device files are those of before, so build again before you burn any"
    return [Finding(level="caution", where="last build", message=message)]


def version_findings(output: Path, document: Mapping[str, Any]) -> list[Finding]:
    """Say, as cautions, which devices of a new build differ from the one in the output folder by versions alone.

    Parameters
    ----------
    output
        The folder, before the new build replaces what is there.
    document
        The new build's manifest.
    """
    try:
        before = read_manifest(output)
    except DocumentError:  # a build replaces it
        return []
    if before is None or digest_of_inputs(before.plain_inputs) != digest_of_inputs(document["inputs"]):
        return []
    cause = changed_versions(before.versions, document["versions"])
    held = {(device.name, device.part): device.sha256 for device in before.devices}
    return [
        Finding(
            level="caution",
            where=f"device {device['name']}",
            message=f"differs from the build before because of {cause} (same inputs); check the proof before burning",
        )
        for device in document["devices"]
        if cause and held.get((device["name"], device["part"]), device["sha256"]) != device["sha256"]
    ]


def _file(device: str, piece: PieceEntry) -> DeviceFile:
    span = Span(first=piece.first, count=piece.bytes, step=piece.step, order=piece.order, offset=piece.offset)
    return DeviceFile(device=device, name=piece.file, data=b"", span=span)
