"""The last build of a recipe, read back from its output folder."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board, Finding
from ladderlight.devices.burned import FILE, Record, burn_of, device_image, parse_record
from ladderlight.errors import BuildError, LadderlightError
from ladderlight.pictures import DeviceFile, Span
from ladderlight.recipe import Recipe
from ladderlight.recipe.inputs import changes_since
from ladderlight.screen import read_memories
from ladderlight.workspace.output import settled

_MOST_TOLD = 4


@dataclass(frozen=True, kw_only=True)
class LastBuild:
    """What stands in the output folder: the manifest, and the words of all memories from the device files."""

    manifest: Mapping[str, Any]
    words: Mapping[str, NDArray[np.uint32]]
    files: tuple[DeviceFile, ...]
    """The device files with their spans, without data."""

    @property
    def pictures(self) -> dict[int, list[str]]:
        """Names of the pictures in each bank that holds any."""
        banks: dict[int, list[str]] = {}
        for picture in self.manifest["pictures"]:
            banks.setdefault(picture["bank"], []).append(picture["name"])
        return banks

    def images(self, board: Board) -> dict[str, NDArray[np.uint8]]:
        """Bytes of each device's image by name, low byte of each word first."""
        return {d.name: np.frombuffer(device_image(self.words, d), dtype=np.uint8) for d in board.devices}


def last_build(output: Path, board: Board) -> LastBuild:
    """Read the last build of a board.

    Raises
    ------
    BuildError
        When there is none, or it was of another board.
    DeviceFileError
        When its device files are damaged.
    """
    with settled(output):
        return _last_build(output, board)


def _last_build(output: Path, board: Board) -> LastBuild:
    path = output / "manifest.json"
    try:
        manifest = json.loads(path.read_text(encoding="utf-8"))
        built = [(device["name"], device["part"], device["bytes"]) for device in manifest["devices"]]
        files = [_file(device["name"], piece) for device in manifest["devices"] for piece in device["pieces"]]
    except FileNotFoundError:
        raise BuildError(f"{path}: there is no build yet; run ladderlight build first") from None
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BuildError(f"{path}: cannot be read ({type(error).__name__}: {error}); build again") from None
    if built != [(device.name, device.part.number, device.part.bytes) for device in board.devices]:
        raise BuildError(f"{path}: the last build was of other devices than the recipe has now; build again")
    return LastBuild(manifest=manifest, words=read_memories(board, output / "devices", files), files=tuple(files))


def stale_findings(recipe: Recipe) -> list[Finding]:
    """Say, as a caution, that the device files on disk are not what the recipe asks for now, and why.

    Nothing when there is no build, or it says nothing of what it was made from.
    """
    try:
        with settled(recipe.output):
            manifest = json.loads((recipe.output / "manifest.json").read_text(encoding="utf-8"))
        told = changes_since(manifest["inputs"], recipe) if manifest.get("inputs") else []
    except FileNotFoundError:
        return []
    except (OSError, ValueError, KeyError, TypeError, AttributeError, LadderlightError) as error:
        message = f"cannot be told from the recipe ({type(error).__name__}: {error}); build again before you burn"
        return [Finding(level="caution", where="last build", message=message)]
    if not told:
        return []
    more = f" and {len(told) - _MOST_TOLD} more" if len(told) > _MOST_TOLD else ""
    what = ", ".join(told[:_MOST_TOLD]) + more
    message = f"{what}; the device files are those of before, so build again before you burn any"
    return [Finding(level="caution", where="last build", message=message)]


def _file(device: str, piece: Mapping[str, Any]) -> DeviceFile:
    span = Span(
        first=piece["first"],
        count=piece["bytes"],
        step=piece["step"],
        order=piece["order"],
        offset=piece["offset"],
    )
    return DeviceFile(device=device, name=piece["file"], data=b"", span=span)


def read_record(folder: Path) -> Record | None:
    """Read the record of what is in the chips, if there is one beside the recipe."""
    path = folder / FILE
    return parse_record(str(path), path.read_text(encoding="utf-8")) if path.is_file() else None


def burn_findings(folder: Path, output: Path, board: Board) -> list[Finding]:
    """Say which chips do not hold what the last build gave, as notes; nothing before chips have been recorded."""
    noted = read_record(folder)
    if noted is None or not (output / "manifest.json").is_file():
        return []
    try:
        build = last_build(output, board)
    except LadderlightError as error:
        return [Finding(level="note", where="last build", message=f"says nothing of chips to burn again: {error}")]
    burns = {d.name: burn_of(noted, d, device_image(build.words, d)) for d in board.devices}
    return [
        Finding(level="note", where=f"device {name}", message=f"the chip and the last build: {burn.text}")
        for name, burn in burns.items()
        if burn.needed
    ]
