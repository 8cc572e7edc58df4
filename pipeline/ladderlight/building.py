"""A whole build: from a checked recipe to device files, manifest, proof and burn sheet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ladderlight.board import Finding
from ladderlight.board.advice import findings
from ladderlight.engine import Chain, Progress
from ladderlight.errors import BuildError
from ladderlight.output import refuse_foreign, staged_output
from ladderlight.pictures import DeviceFile
from ladderlight.recipe import Recipe


@dataclass(frozen=True, kw_only=True)
class Built:
    """What a build has written."""

    output: Path
    manifest: Mapping[str, Any]
    findings: tuple[Finding, ...]

    @property
    def device_files(self) -> tuple[Path, ...]:
        """Paths of the files for the programmer."""
        return tuple(self.output / "devices" / name for device in self.manifest["devices"] for name in device["files"])

    @property
    def proof(self) -> Path:
        """Path of the proof page."""
        return self.output / "proof" / "index.html"


def build(recipe: Recipe, *, workers: int | None = None, progress: Progress | None = None) -> Built:
    """Build a recipe.

    Raises
    ------
    BuildError
        When the board has errors that make it pointless, or the output cannot be written.
    PictureError, ArrangementError
        When pictures cannot be used or do not fit. In every case the old output stays as it was.
    """
    found = tuple(findings(recipe.board))
    errors = [finding for finding in found if finding.level == "error"]
    if errors:
        raise BuildError("\n".join(f"{finding.where}: {finding.message}" for finding in errors))
    refuse_foreign(recipe.output)
    chain = Chain(recipe=recipe)
    contents = chain.arrange(chain.code_pictures(workers=workers, progress=progress))
    files = chain.emit(contents)
    with staged_output(recipe.output) as folder:
        _write_devices(folder / "devices", files)
        manifest = _write_reports(folder, recipe, contents, files, found)
    return Built(output=recipe.output, manifest=manifest, findings=found)


def _write_devices(folder: Path, files: list[DeviceFile]) -> None:
    folder.mkdir()
    for file in files:
        path = folder / file.name
        if not path.resolve().is_relative_to(folder.resolve()):
            raise BuildError(f"a device file may not be called {file.name!r}; keep it inside the output folder")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(file.data)
