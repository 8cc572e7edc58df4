"""A whole build: from a checked recipe to device files, manifest, proof and burn sheet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from ladderlight.bench.sheets.page import bench_files
from ladderlight.board import Finding
from ladderlight.board.model.findings import refuse_errors
from ladderlight.cache.store import Cache
from ladderlight.engine.cards import with_cards
from ladderlight.engine.entries import Described
from ladderlight.engine.executors import Executor
from ladderlight.engine.runner import Chain
from ladderlight.engine.steps import Progress, Refused
from ladderlight.errors import BuildError, DocumentError
from ladderlight.proof import burn_page, proof_files
from ladderlight.proof.burnsheet import burn_sheet
from ladderlight.proof.merge_metrics import merged_metrics
from ladderlight.proof.scanout import Scanned, read_memories
from ladderlight.proof.screens import shown_banks
from ladderlight.recipe import Recipe
from ladderlight.recipe.inputs import inputs_of
from ladderlight.storage.output import NOTHING_REPLACED, Staging, staged_output, unwritable
from ladderlight.storage.stopping import noting_stops, stoppable
from ladderlight.system.printable import json_text, printable
from ladderlight.system.versions import versions
from ladderlight.workspace.description import describe
from ladderlight.workspace.last_build import version_findings
from ladderlight.workspace.made_from import account_of, known_inputs
from ladderlight.workspace.manifest import FILE, InputEntry, Manifest, read_manifest
from ladderlight.workspace.readiness import readiness
from ladderlight.workspace.recorded import recorded_chips


@dataclass(frozen=True, kw_only=True)
class Built:
    """What a build has written."""

    output: Path
    manifest: Mapping[str, Any]
    """As plain values; see :class:`ladderlight.workspace.manifest.Manifest`."""
    findings: tuple[Finding, ...]

    @property
    def device_files(self) -> tuple[Path, ...]:
        """Paths of the files for the programmer."""
        return tuple(self.output / "devices" / name for device in self.manifest["devices"] for name in device["files"])

    @property
    def proof(self) -> Path:
        """Path of the proof page."""
        return self.output / "proof" / "index.html"


def build(
    recipe: Recipe,
    *,
    workers: int | None = None,
    progress: Progress | None = None,
    refused: Refused | None = None,
    strict: bool = False,
    cached: bool = True,
    executor: Executor | None = None,
    began: int | None = None,
) -> Built:
    """Build a recipe; with ``strict``, cautions are errors.

    Parameters
    ----------
    recipe, workers, progress, strict
        The recipe, and how it is built.
    executor
        Where pictures are worked on; threads, if none is given.
    cached
        Whether the user's cache is used.
    began
        When the command began, before the recipe was read, in nanoseconds since 1970. With it, the next command can
        know whether the build is up to date.

    Raises
    ------
    BuildError
        When the recipe is known not to be ready, or the output cannot be written.
    PictureError, ArrangementError
        When pictures turn out not to be usable or not to fit. In every case the old output stays as it was.
    """
    with noting_stops(NOTHING_REPLACED):
        refuse_errors(readiness(recipe, strict=strict, whole=strict))
        cache = Cache.of_user() if cached else None
        # Before: a file that changes while pictures are reduced has changed since.
        seen = known_inputs(recipe, cache)
        account = account_of(recipe, seen, began=began) if cache and began else None
        chain = Chain(recipe=recipe, cache=cache, seen=seen)
        coded = with_cards(
            recipe, chain.code_pictures(workers=workers, progress=progress, refused=refused, executor=executor)
        )
        found = refuse_errors([*recipe.findings, *_cautions(coded.described, strict=strict)])
        contents = stoppable(partial(chain.arrange, coded))
        files = chain.emit(contents)
    with staged_output(recipe.output, recipe.owner) as staging:
        folder = staging.folder
        recorded = recorded_chips(recipe)
        before = _manifest_before(recipe.output)
        _write(folder / "devices", ((file.name, file.data) for file in files))
        words = read_memories(recipe.board, folder / "devices", files)
        banks = shown_banks(recipe.board, (placed.bank for placed in contents.pictures))
        scanned = Scanned(board=recipe.board, words=words, banks=banks, tile_sets=contents.tile_sets)
        merged = merged_metrics(scanned, contents.pictures, coded)
        made = describe(
            project=recipe.name,
            board=recipe.board,
            contents=contents,
            files=files,
            images=scanned.images,
            burned=recorded.of_tray(),
            details={
                picture.origin.name: {**picture.notes, "metrics": dict(picture.metrics)} for picture in coded.described
            },
            merged=merged,
            inputs=[InputEntry.model_validate(item) for item in inputs_of(recipe, seen)],
            versions=versions(),
        )
        _write(folder, _pages(recipe.name, scanned, made, found))
    found = (*found, *recorded.findings)
    if cache and account and not recorded.record.of_recipe(None):  # whose such chips are depends on other recipes
        account.keep(cache, json_text(made.document).encode(), found)
    kept = (*version_findings(before, made), *_edited(staging))
    return Built(output=recipe.output, manifest=made.document, findings=(*found, *kept))


def _pages(project: str, scanned: Scanned, made: Manifest, found: Sequence[Finding]) -> Iterator[tuple[str, bytes]]:
    """Yield what is written beside the device files: the sheets and pages made from the manifest, and itself."""
    shown = made.printable
    yield "burn-sheet.txt", burn_sheet(scanned.board, shown).encode()
    yield "burn-sheet.html", burn_page(scanned.board, shown).encode()
    yield from bench_files(printable(project), scanned.board)
    proof = proof_files(printable(project), scanned, shown, found)
    yield from ((f"proof/{name}", data) for name, data in proof)
    yield FILE, json_text(made.document).encode()


def _cautions(pictures: Iterable[Described], *, strict: bool) -> list[Finding]:
    """Return the cautions that stages have of files, each once; errors if ``strict``."""
    noted = {
        (picture.origin.source, str(picture.notes["caution"])): None
        for picture in pictures
        if "caution" in picture.notes
    }
    return [Finding(level="error" if strict else "caution", where=source, message=text) for source, text in noted]


def _edited(staging: Staging) -> Iterator[Finding]:
    for path, kept in staging.edited.items():
        message = f"was changed since the last build and is replaced; the changed file is kept as {kept}"
        yield Finding(level="caution", where=str(path), message=message)


def _manifest_before(output: Path) -> Manifest | None:
    try:
        return read_manifest(output)
    except DocumentError:  # the build replaces it
        return None


def _write(folder: Path, files: Iterable[tuple[str, bytes]]) -> None:
    for name, data in files:
        path = folder / name
        if not path.resolve().is_relative_to(folder.resolve()):
            raise BuildError(f"a file may not be called {name!r}; keep it inside the output folder")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        except OSError as error:
            error.filename = None  # aside, in a folder that is gone when this is read
            raise unwritable(error, name) from error
