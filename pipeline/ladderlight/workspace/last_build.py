"""The last build of a recipe, read back from its output folder."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from ladderlight.board import Board, Finding
from ladderlight.devices.documents import DeviceDocument, ManifestDocument, PieceDocument
from ladderlight.engine.trays import Tray, folder_of, place_in
from ladderlight.errors import BuildError, DocumentError, LadderlightError, UsageError
from ladderlight.flow.pictures import DeviceFile, Span
from ladderlight.recipe import Recipe
from ladderlight.recipe.inputs import changes_since
from ladderlight.storage.output import settled
from ladderlight.storage.record import Owner, refuse_another
from ladderlight.system.frozen import Frozen
from ladderlight.system.versions import changed_versions
from ladderlight.units.arrays import Bytes, MemoryWords
from ladderlight.units.words import joined
from ladderlight.workspace.manifest import FILE, Manifests, inputs_digest_of, read_manifest, trays_of

_MOST_NAMED = 4


class LastTray(Frozen):
    """A set of chips of the last build: from its device files all words and each device's image.

    ``number`` is None where there is one set only.
    """

    number: int | None
    words: MemoryWords
    images: Mapping[str, bytes]
    files: tuple[DeviceFile, ...]
    """The device files with their spans, without data; their names are those in the tray's folder."""
    pictures: Mapping[int, Sequence[str]]
    """Names of the pictures in each bank that holds any."""

    @property
    def image_arrays(self) -> dict[str, Bytes]:
        """Images as arrays."""
        return {name: np.frombuffer(image, dtype=np.uint8) for name, image in self.images.items()}


class LastBuild(Frozen):
    """What the output folder holds: the manifest, and its trays, which are read one at a time."""

    output: Path
    board: Board
    manifest: ManifestDocument
    mark: tuple[int, int]

    def tray(self, number: int | None = None) -> LastTray:
        """Read the device files of a tray.

        Raises
        ------
        BuildError
            When another build has replaced this one.
        DeviceFileError
            When the files are damaged.
        """
        from ladderlight.devices.files import images_of
        from ladderlight.proof.scanout import read_memories

        entries = [device for device in self.manifest["devices"] if device.get("tray") == number]
        files = tuple(_file_of(device, piece) for device in entries for piece in device["pieces"])
        with settled(self.output):
            if _mark(self.output) != self.mark:
                raise BuildError("another build has replaced this one; run the command again", where=self.output)
            words = read_memories(self.board, self.output / "devices", files)
        pictures: dict[int, list[str]] = defaultdict(list)
        for picture in self.manifest["pictures"]:
            if picture.get("tray") == number:
                pictures[picture["bank"]].append(picture["name"])
        images = images_of(self.board, words)
        files = tuple(replace(file, name=file.name.removeprefix(folder_of(number))) for file in files)
        return LastTray(number=number, words=words, images=images, files=files, pictures=pictures)

    def numbers(self, asked: Sequence[int] = ()) -> tuple[int | None, ...]:
        """Return the trays that are asked for; all when none is.

        Raises UsageError when one was not built.
        """
        built = trays_of(self.manifest)
        for number in asked:
            if number not in built:
                what = "the last build has no trays" if built == (None,) else f"the last build has no tray {number}"
                use = "leave --tray out" if built == (None,) else f"use {joined(list(map(str, built)), 'or')}"
                raise UsageError(f"{what}; {use}")
        return tuple(dict.fromkeys(asked)) or built


def last_build(
    output: Path, board: Board, owner: Owner | None = None, manifest: ManifestDocument | None = None
) -> LastBuild:
    """Read the last build of a board, which must be of a recipe, if an owner is given.

    A ``manifest`` that has been read already is not read again.

    Raises
    ------
    BuildError
        When there is none, or it was of another board or recipe.
    DocumentError
        When its manifest is damaged.
    """
    with settled(output):
        if owner is not None:
            refuse_another(output, owner)
        path = output / FILE
        manifest = manifest or read_manifest(output)
        if manifest is None:
            raise BuildError("there is no build yet; run ladderlight build first", where=path)
        mark = _mark(output)
    devices = [(device.name, device.part.number, device.part.bytes) for device in board.devices]
    for number in trays_of(manifest) or (None,):
        own = (device for device in manifest["devices"] if device.get("tray") == number)
        built = [(device["name"], device["part"], device["bytes"]) for device in own]
        if built != devices:
            raise BuildError("the last build was of other devices than the recipe has now; build again", where=path)
    return LastBuild(output=output, board=board, manifest=manifest, mark=mark)


def _file_of(device: DeviceDocument, piece: PieceDocument) -> DeviceFile:
    """Return a device's file with its span, without data."""
    span = Span(
        first=piece["first"], count=piece["bytes"], step=piece["step"], order=piece["order"], offset=piece["offset"]
    )
    return DeviceFile(device=device["name"], name=piece["file"], data=b"", span=span)


def _mark(output: Path) -> tuple[int, int]:
    """Return what differs between two manifests: time of change and number of the file."""
    found = (output / FILE).stat()
    return found.st_mtime_ns, found.st_ino


def stale_findings(recipe: Recipe, trays: Iterable[Tray] = ()) -> list[Finding]:
    """Return a caution when the device files on disk are not those of the recipe as it is now, with the reason.

    Also when they lack some of its trays. Nothing when there is no build, or no inputs are recorded in its manifest.
    """
    try:
        with settled(recipe.output):
            manifest = read_manifest(recipe.output)
        if manifest is None:
            return []
        inputs = manifest.get("inputs", ())
        changed = changes_since(inputs, recipe) if inputs else []
    except DocumentError as error:
        return [Finding(level="caution", where=fault.where, message=fault.message) for fault in error.faults]
    except LadderlightError as error:
        message = f"cannot be compared with the recipe ({error}); build again before you burn"
        return [Finding(level="caution", where="last build", message=message)]
    lacking = [str(tray.number) for tray in trays if tray.number and tray.number not in trays_of(manifest)]
    if lacking and not changed:
        what = f"lacks tray{'s' * (len(lacking) > 1)} {joined(lacking)}, left out because of bad pictures"
        return [Finding(level="caution", where="last build", message=f"{what}; correct these, and build again")]
    if not changed:
        return []
    more = f" and {len(changed) - _MOST_NAMED} more" if len(changed) > _MOST_NAMED else ""
    what = ", ".join(changed[:_MOST_NAMED]) + more
    message = f"{what}; the device files are those of before, so build again before you burn any"
    return [Finding(level="caution", where="last build", message=message)]


def version_findings(
    before: ManifestDocument | None, now: Manifests, inputs: str | None, versions: Mapping[str, str]
) -> list[Finding]:
    """Return a caution for each device that differs from the build before by versions alone.

    ``now`` is the new build's manifest, and ``inputs`` the digest of what it is made from.
    """
    if before is None or inputs_digest_of(before) != inputs:
        return []
    cause = changed_versions(before.get("versions", {}), versions)
    devices = before["devices"] if cause else ()
    held = {(device.get("tray"), device["name"], device["part"]): device["sha256"] for device in devices}
    return [
        Finding(
            level="caution",
            where=place_in(tray, f"device {device['name']}"),
            message=f"differs from the build before because of {cause} (same inputs); check the proof before burning",
        )
        for tray, device in ((device.get("tray"), device) for device in now.devices)
        if cause and held.get((tray, device["name"], device["part"]), device["sha256"]) != device["sha256"]
    ]
