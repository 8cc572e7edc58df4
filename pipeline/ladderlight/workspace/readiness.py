"""What a build of a recipe will come to, as far as it can be known before any picture is decoded."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from ladderlight.board import Finding
from ladderlight.board.model.findings import Level, ranked
from ladderlight.engine.cards import card_origins
from ladderlight.engine.runner import Chain
from ladderlight.errors import ArrangementError, BuildError, DeviceFileError, Fault, LadderlightError
from ladderlight.flow.pictures import Origin
from ladderlight.recipe import Recipe, advice_on
from ladderlight.recipe.headers import headers_of
from ladderlight.recipe.inputs import unreadable_inputs
from ladderlight.stages.boundary import capacity_problems
from ladderlight.stages.kinds import Kind
from ladderlight.storage.output import output_faults
from ladderlight.storage.record import MANIFEST, Record, refuse_another
from ladderlight.system.paths import entries_of
from ladderlight.units.words import joined
from ladderlight.workspace.planned import planned_files
from ladderlight.workspace.trays import Tray, deal

_MOST_FRAMES = 1 << 20
"""Of all files together; far more than any board has banks."""


def readiness(recipe: Recipe, *, strict: bool = False, whole: bool = True) -> list[Finding]:
    """Return all findings on a recipe: board, files, output folder, arrangements and advice.

    Without an error among them a build succeeds, unless that depends on what is in the pictures beyond their headers.
    With ``strict``, cautions are errors. Without ``whole``, what a build finds anyway before it writes is left out:
    unreadable files, what stages refuse, and advice.
    """
    asked = recipe.board_works and whole
    staged = [*_device_files(recipe), *_arranged(recipe), *advice_on(recipe)] if asked else []
    files = _files(recipe, whole=whole)
    output = [*_errors(_output_faults(recipe), "output"), *_left_behind(recipe)]
    found = [*recipe.findings, *output, *recipe.cautions, *staged, *files]
    if strict:
        found = [replace(one, level="error") if one.level == "caution" else one for one in found]
    return ranked(found)


def _output_faults(recipe: Recipe) -> list[Fault]:
    """Return what keeps the output folder from being built into, the folder around those of revisions included."""
    if recipe.revision is not None:
        try:
            refuse_another(recipe.output.parent, recipe.owner)
        except BuildError as error:
            return list(error.faults)
    return output_faults(recipe.output, recipe.owner)


def _left_behind(recipe: Recipe) -> Iterator[Finding]:
    """Yield cautions of builds of this recipe around those of its revisions: of one board, or of a revision gone."""
    if recipe.revision is None:
        return
    around = recipe.output.parent
    before = {around: "from before there were revisions"}
    before |= {
        folder: "of a revision that the recipe no longer has"
        for folder in entries_of(around)
        if folder.name not in recipe.revisions
    }
    for folder, what in before.items():
        record = Record.read(folder)
        if record and recipe.owner.is_seen_as(record.recipe, folder) and (folder / MANIFEST).exists():
            message = f"{folder} still has a build {what}; burn none of it, and delete it"
            yield Finding(level="caution", where="output", message=message)


def _errors(faults: Iterable[Fault], where: str = "") -> list[Finding]:
    return [Finding(level="error", where=fault.where or where, message=fault.message) for fault in faults]


def _device_files(recipe: Recipe) -> list[Finding]:
    """Return errors when device files would share a name, or the name of one would block another."""
    try:
        planned_files(recipe)
    except (BuildError, DeviceFileError) as error:
        return _errors(error.faults, "device files")
    return []


def _arranged(recipe: Recipe) -> list[Finding]:
    """Run the arrangements that need no pictures: what they give is known, and so is whether they collide."""
    uses = tuple(
        use for use in recipe.chain if use.declaration.kind is Kind.ARRANGEMENT and not use.declaration.needs_pictures
    )
    try:
        Chain(recipe=replace(recipe, chain=uses)).arrange([])
    except LadderlightError as error:
        return _errors(error.faults, "arrangement")
    return []


def _files(recipe: Recipe, *, whole: bool) -> list[Finding]:
    """Return what there is to say of the input files, and ask the arrangements whether all known frames find room."""
    unreadable = _errors(unreadable_inputs(recipe)) if whole else []
    headers = headers_of(recipe, {one.where for one in unreadable})
    found = [*unreadable, *headers.findings]
    if headers.frames is None or not (headers.frames or recipe.cards) or not recipe.board_works:
        return found
    if headers.frames > _MOST_FRAMES:
        message = f"the files have {headers.frames:,} frames; a build takes up to {_MOST_FRAMES:,}"
        return [*found, Finding(level="error", where="pictures", message=message)]
    try:
        trays = deal(recipe, {file: probe.frames for file, probe in headers.probes.items()})
    except ArrangementError as error:
        return [*found, *_errors(error.faults, "pictures")]
    found += _gaps(trays)
    origins: dict[str, list[Origin]] = {}
    for origin in headers.origins:
        origins.setdefault(origin.source, []).append(origin)
    return [*found, *(finding for tray in trays for finding in _crowding(recipe, tray, origins))]


def _gaps(trays: Sequence[Tray]) -> Iterator[Finding]:
    """Yield a caution when trays between others hold nothing."""
    numbers = {tray.number for tray in trays if tray.number is not None}
    empty = [number for number in range(1, max(numbers, default=1)) if number not in numbers]
    if empty:
        shown = f"{empty[0]} to {empty[-1]}" if len(empty) > 2 else joined(list(map(str, empty)))
        what = f"nothing is dealt to tray{'s' * (len(empty) > 1)} {shown}"
        message = f"{what}, which are left out; number trays without gaps, or burn only those that there are"
        yield Finding(level="caution", where="pictures", message=message)


def _crowding(recipe: Recipe, tray: Tray, frames: Mapping[str, Sequence[Origin]]) -> Iterator[Finding]:
    """Ask the arrangements whether all frames and cards of a tray find room."""
    known = [origin for file in tray.files for origin in frames[file.source]]
    origins = [*known, *card_origins(tray.cards, known, recipe.board)]
    for use in recipe.chain:
        for problem in capacity_problems(use.declaration, origins, recipe.board, use.options, viewing=recipe.viewing):
            level: Level = "error" if problem.certain else "caution"
            yield Finding(level=level, where=tray.place(use.declaration.name), message=str(problem))
