"""What a build of a recipe will come to, as far as it can be known before any picture is decoded."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

from ladderlight.board import Finding
from ladderlight.board.advice import findings
from ladderlight.board.model.findings import ranked
from ladderlight.engine.cards import card_origins
from ladderlight.engine.runner import Chain, origin_of, unique_names
from ladderlight.errors import ArrangementError, BuildError, DeviceFileError, Fault, LadderlightError, PictureError
from ladderlight.recipe import PictureFile, Recipe, advice_on
from ladderlight.recipe.inputs import input_files
from ladderlight.stages.boundary import capacity_problems, probe_of
from ladderlight.stages.contract import Probe
from ladderlight.stages.kinds import Kind
from ladderlight.storage.output import refuse_foreign
from ladderlight.workspace.planned import planned_files

_MOST_FRAMES = 1 << 20
"""Of all files together; far more than any board has banks."""


def readiness(recipe: Recipe, *, strict: bool = False) -> list[Finding]:
    """Return all findings on a recipe: board, files, output folder, arrangements and advice.

    Without an error among them a build succeeds, unless that depends on what is in the pictures beyond their headers.
    With ``strict``, cautions are errors.
    """
    found = findings(recipe.board)
    works = not _errors(found)
    found += _output(recipe)
    found += recipe.cautions
    unreadable = list(_unreadable(recipe))
    found += unreadable
    if works:
        found += _device_files(recipe)
        found += _arranged(recipe)
        found += advice_on(recipe)
    probes, probed = _probes(recipe, [one.where for one in unreadable])
    found += probed
    if works and not _errors(probed):
        found += _crowding(recipe, probes)
    if strict:
        found = [replace(one, level="error") if one.level == "caution" else one for one in found]
    return ranked(found)


def refuse_unready(recipe: Recipe, *, strict: bool = False) -> tuple[Finding, ...]:
    """Return the findings on the board, after refusing a recipe of which it is known that it cannot be built.

    With ``strict``, nothing may be cautioned of it.

    Raises
    ------
    BuildError
        When the board has errors, or the output folder is not this recipe's; with ``strict``, for all findings.
    PictureError
        When files are not pictures.
    ArrangementError
        When there are too many of them, as far as their headers or the recipe alone show it.
    """
    found = tuple(findings(recipe.board))
    if strict:
        refuse_errors(readiness(recipe, strict=True))
        return found
    refuse_errors(found)
    refuse_foreign(recipe.output, recipe.owner)
    probes, probed = _probes(recipe)
    for kind, errors in ((PictureError, _errors(probed)), (ArrangementError, _errors(_crowding(recipe, probes)))):
        if errors:
            raise kind.of(errors)
    return found


def refuse_errors(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings, the gravest first.

    Raises
    ------
    BuildError
        When there are errors among them.
    """
    ordered = tuple(ranked(found))
    errors = _errors(ordered)
    if errors:
        raise BuildError.of(errors)
    return ordered


def _errors(found: Iterable[Finding]) -> list[Fault]:
    return [Fault(where=one.where, message=one.message) for one in found if one.level == "error"]


def _found(error: LadderlightError, where: str) -> list[Finding]:
    return [Finding(level="error", where=fault.where or where, message=fault.message) for fault in error.faults]


def _output(recipe: Recipe) -> list[Finding]:
    try:
        refuse_foreign(recipe.output, recipe.owner)
    except BuildError as error:
        return _found(error, "output")
    around = next(path for path in (recipe.output, *recipe.output.parents) if os.path.lexists(path))
    if not os.path.isdir(around):  # noqa: PTH112 - Path's own raises where a folder cannot be read
        what = "is a file"
    elif not os.access(around, os.W_OK | os.X_OK):
        what = "cannot be written"
    else:
        return []
    return [Finding(level="error", where=str(around), message=f"{what}; choose another output folder")]


def _unreadable(recipe: Recipe) -> Iterator[Finding]:
    for name, path in input_files(recipe).items():
        try:
            with path.open("rb"):
                pass
        except OSError as error:
            message = f"cannot be read ({error.strerror}); check its permissions"
            yield Finding(level="error", where=name, message=message)


def _device_files(recipe: Recipe) -> list[Finding]:
    """Return errors when device files would share a name, or the name of one would block another."""
    try:
        planned_files(recipe)
    except (BuildError, DeviceFileError) as error:
        return _found(error, "device files")
    return []


def _arranged(recipe: Recipe) -> list[Finding]:
    """Run the arrangements that need no pictures: what they give is known, and so is whether they collide."""
    uses = tuple(
        use for use in recipe.chain if use.declaration.kind is Kind.ARRANGEMENT and not use.declaration.needs_pictures
    )
    try:
        Chain(recipe=replace(recipe, chain=uses)).arrange([])
    except LadderlightError as error:
        return _found(error, "arrangement")
    return []


def _probes(recipe: Recipe, unreadable: Iterable[str] = ()) -> tuple[dict[PictureFile, Probe], list[Finding]]:
    """Read the headers of all pictures, on threads; those of a source without a probe stay unknown."""
    if not recipe.files:
        return {}, []
    source = recipe.chain[0].declaration
    left_out = set(unreadable)

    def probed(file: PictureFile) -> tuple[Probe | None, list[Finding]]:
        if file.source in left_out:
            return None, []
        try:
            probe = probe_of(
                source, file.path, recipe.board, recipe.options_for(file, 0), file.source, viewing=recipe.viewing
            )
        except PictureError as error:
            return None, [Finding(level="error", where=file.source, message=str(fault)) for fault in error.faults]
        caution = probe.caution if probe else ""
        return probe, [Finding(level="caution", where=file.source, message=caution)] if caution else []

    with ThreadPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
        results = list(zip(recipe.files, pool.map(probed, recipe.files), strict=True))
    return {file: probe for file, (probe, _) in results if probe}, [one for _, (_, found) in results for one in found]


def _crowding(recipe: Recipe, probes: Mapping[PictureFile, Probe]) -> list[Finding]:
    """Ask the arrangements whether all frames of all files can be placed; they have to be known."""
    if not (recipe.files or recipe.cards) or len(probes) < len(recipe.files):
        return []
    frames = sum(probe.frames for probe in probes.values())
    if frames > _MOST_FRAMES:
        message = f"the files have {frames:,} frames; a build takes up to {_MOST_FRAMES:,}"
        return [Finding(level="error", where="pictures", message=message)]
    names = unique_names(recipe.files)
    origins = [
        origin_of(recipe, file, names[file], index) for file in recipe.files for index in range(probes[file].frames)
    ]
    origins += card_origins(recipe, origins)
    return [
        Finding(level="error" if problem.certain else "caution", where=use.declaration.name, message=str(problem))
        for use in recipe.chain
        for problem in capacity_problems(use.declaration, origins, recipe.board, use.options, viewing=recipe.viewing)
    ]
