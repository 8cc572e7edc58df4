"""What a build of a recipe will come to, as far as it can be known before any picture is decoded."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from ladderlight.board import Finding
from ladderlight.board.model.findings import ranked
from ladderlight.engine.cards import card_origins
from ladderlight.engine.runner import Chain
from ladderlight.errors import BuildError, DeviceFileError, Fault, LadderlightError
from ladderlight.recipe import Recipe, advice_on
from ladderlight.recipe.headers import headers_of
from ladderlight.recipe.inputs import unreadable_inputs
from ladderlight.stages.boundary import capacity_problems
from ladderlight.stages.kinds import Kind
from ladderlight.storage.output import output_faults
from ladderlight.workspace.planned import planned_files

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
    output = _errors(output_faults(recipe.output, recipe.owner), "output")
    found = [*recipe.findings, *output, *recipe.cautions, *staged, *files]
    if strict:
        found = [replace(one, level="error") if one.level == "caution" else one for one in found]
    return ranked(found)


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
    origins = [*headers.origins, *card_origins(recipe, headers.origins)]
    crowding = (
        Finding(level="error" if problem.certain else "caution", where=use.declaration.name, message=str(problem))
        for use in recipe.chain
        for problem in capacity_problems(use.declaration, origins, recipe.board, use.options, viewing=recipe.viewing)
    )
    return [*found, *crowding]
