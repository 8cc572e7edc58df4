"""What a build of a recipe will come to, as far as it can be known before any picture is decoded."""

from collections.abc import Iterable, Iterator
from dataclasses import field, replace
from types import MappingProxyType

from ladderlight.board import Finding
from ladderlight.engine.plan import Plan
from ladderlight.engine.runner import Chain
from ladderlight.engine.trays import Tray, crowding, deal
from ladderlight.errors import (
    ArrangementError,
    BuildError,
    DeviceFileError,
    Fault,
    LadderlightError,
    ranked,
)
from ladderlight.recipe import PictureFile, Recipe
from ladderlight.recipe.headers import Known, headers_of
from ladderlight.recipe.inputs import unreadable_inputs
from ladderlight.stages.contract import Probe
from ladderlight.stages.kinds import Kind
from ladderlight.storage.output import output_faults
from ladderlight.storage.record import builds_around
from ladderlight.system.frozen import Frozen
from ladderlight.units.words import joined

_MOST_FRAMES = 1 << 20  # of all files together; far more than any board has banks


class Readiness(Frozen):
    """What was found, and what a build goes on with: the plan, the headers of files that have one, and the trays."""

    findings: list[Finding]
    plan: Plan
    probes: Known = field(default_factory=dict)
    trays: tuple[Tray, ...] = ()
    """Empty where the headers leave that open."""

    @property
    def frames(self) -> dict[PictureFile, int]:
        """How many frames the files with a header have."""
        return {file: probe.frames for file, probe in self.probes.items()}


def readiness(
    recipe: Recipe,
    *,
    strict: bool = False,
    whole: bool = True,
    known: Known = MappingProxyType({}),
    plan: Plan | None = None,
) -> Readiness:
    """Return all findings on a recipe: board, files, output folder, arrangements and advice.

    Without an error among them a build succeeds, unless that depends on what is in the pictures beyond their headers.
    With ``strict``, cautions are errors. Without ``whole``, what a build finds anyway before it writes is left out:
    unreadable files, what stages refuse, and advice. Headers that are ``known`` are not read. The ``plan`` of the
    recipe is made if it is not given.
    """
    staged: list[Finding] = []
    if recipe.board_works and whole:
        from ladderlight.recipe import advice_on

        staged = [*_device_files(recipe), *_arranged(recipe), *advice_on(recipe)]
    files = _files(plan or Plan(recipe=recipe), known, whole=whole)
    output = _errors(output_faults(recipe.output, recipe.owner, recipe.around), "output")
    if recipe.around is not None:
        for folder, what in builds_around(recipe.around, recipe.owner, recipe.revisions).items():
            message = f"{folder} still has a build {what}; burn none of it, and delete it"
            output.append(Finding(level="caution", where="output", message=message))
    found = [*recipe.findings, *output, *recipe.cautions, *staged, *files.findings]
    if strict:
        found = [replace(one, level="error") if one.level == "caution" else one for one in found]
    return replace(files, findings=ranked(found))


def _errors(faults: Iterable[Fault], where: str = "") -> list[Finding]:
    return [Finding(level="error", where=fault.where or where, message=fault.message) for fault in faults]


def _device_files(recipe: Recipe) -> list[Finding]:
    """Return errors when device files would share a name, or the name of one would block another."""
    try:
        Chain(recipe=recipe).planned_files()
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


def _files(plan: Plan, known: Known, *, whole: bool) -> Readiness:
    """Return what there is to say of the input files, and ask the arrangements whether all known frames find room."""
    recipe = plan.recipe
    unreadable = _errors(unreadable_inputs(recipe)) if whole else []
    headers = headers_of(recipe, {one.where for one in unreadable}, known)
    found = Readiness(findings=[*unreadable, *headers.findings], plan=plan, probes=headers.probes)
    bad = {one.where for one in found.findings if whole and one.level == "error"}
    once = {file: Probe(frames=1, width=0, height=0) for file in recipe.files if file.source in bad}
    probes = {**once, **headers.probes}  # a bad file needs room for at least one picture
    headers = replace(headers, probes={file: probes[file] for file in recipe.files if file in probes})
    if headers.frames is None or not (headers.frames or recipe.cards) or not recipe.board_works:
        return found
    if headers.frames > _MOST_FRAMES:
        message = f"the files have {headers.frames:,} frames; a build takes up to {_MOST_FRAMES:,}"
        return replace(found, findings=[*found.findings, Finding(level="error", where="pictures", message=message)])
    try:
        trays = deal(plan, {file: probe.frames for file, probe in headers.probes.items()})
    except ArrangementError as error:
        return replace(found, findings=[*found.findings, *_errors(error.faults, "pictures")])
    crowded = (
        Finding(level="error" if problem.certain else "caution", where=where, message=str(problem))
        for where, problem in crowding(recipe, trays, headers.origins(plan.names))
    )
    return replace(found, findings=[*found.findings, *_gaps(trays), *crowded], trays=() if once else trays)


def _gaps(trays: Iterable[Tray]) -> Iterator[Finding]:
    """Yield a caution when trays between others hold nothing."""
    numbers = {tray.number for tray in trays if tray.number is not None}
    empty = [number for number in range(1, max(numbers, default=1)) if number not in numbers]
    if empty:
        shown = f"{empty[0]} to {empty[-1]}" if len(empty) > 2 else joined(list(map(str, empty)))
        what = f"nothing is dealt to tray{'s' * (len(empty) > 1)} {shown}, which {'are' * (len(empty) > 1) or 'is'}"
        message = f"{what} left out; number trays without gaps, or burn only those that there are"
        yield Finding(level="caution", where="pictures", message=message)
