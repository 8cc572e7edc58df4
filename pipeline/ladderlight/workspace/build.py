"""A whole build: from a checked recipe to device files, manifest, proof and burn sheet."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import replace
from functools import cache as once
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING

from markupsafe import Markup

from ladderlight.board import Finding
from ladderlight.cache.store import Cache
from ladderlight.engine.cards import with_cards
from ladderlight.engine.coded import CodedPictures
from ladderlight.engine.executors import Executor
from ladderlight.engine.runner import Chain, Progress, Refused
from ladderlight.engine.trays import Tray, deal
from ladderlight.errors import ArrangementError, Fault, PictureError, refuse_errors
from ladderlight.proof.burnsheet import burn_page, burn_part, burn_sheet
from ladderlight.proof.files import proof_files
from ladderlight.proof.merge_metrics import merged_metrics
from ladderlight.proof.page.document import Links, links_of
from ladderlight.proof.pages import SCREEN_BYTES, tray_section, trays_page
from ladderlight.proof.scanout import Scanned, read_memories
from ladderlight.proof.screens import screen_names, shown_banks
from ladderlight.recipe import PictureFile, Recipe
from ladderlight.storage.output import NOTHING_REPLACED, Staging, staged_output
from ladderlight.storage.record import digest_of as file_digest
from ladderlight.storage.stopping import noting_stops, worker_threads
from ladderlight.system.frozen import Frozen
from ladderlight.system.memory import share_memory
from ladderlight.system.printable import printable, printable_values
from ladderlight.system.value import digest_of
from ladderlight.system.versions import versions
from ladderlight.units.words import joined
from ladderlight.workspace.description import describe
from ladderlight.workspace.earlier import Earlier
from ladderlight.workspace.last_build import version_findings
from ladderlight.workspace.made_from import KeptTray, KeptTrays, MadeFrom
from ladderlight.workspace.manifest import FILE, MadeTray, Manifests, made_tray, manifest_of
from ladderlight.workspace.readiness import Readiness, readiness
from ladderlight.workspace.recorded import Recorded, recorded_chips

if TYPE_CHECKING:
    from ladderlight.workspace.models import Chip

_BEGINNING = 1 << 16  # bytes of a device file from which its format is found


class Built(Frozen):
    """What a build has written."""

    output: Path
    manifest: Manifests
    findings: tuple[Finding, ...]
    reduced: int
    """How many picture files were reduced to codes; the cache had the others."""
    complete: bool = True
    """False where trays with bad pictures were left out."""

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
    keep_going: bool = False,
    cached: bool = True,
    executor: Executor | None = None,
    began: int | None = None,
    together: Collection[str] = (),
) -> Built:
    """Build a recipe; with ``strict``, cautions are errors.

    Pictures are worked on by threads, unless an ``executor`` is given. With ``keep_going``, trays with bad pictures are
    left out. With ``began``, when the command began, before the recipe was read, in nanoseconds since 1970, the next
    command can know whether the build is up to date. ``together`` are the revisions that the same command builds.

    Raises
    ------
    BuildError
        When the recipe is known not to be ready, or the output cannot be written.
    PictureError, ArrangementError
        When pictures turn out not to be usable or not to fit. In every case the old output stays as it was.
    """
    share_memory()
    with noting_stops(NOTHING_REPLACED):
        cache = Cache.of_user() if cached else None
        made_from = MadeFrom(recipe=recipe, cache=cache)
        chain = Chain(recipe=recipe, cache=cache, seen=made_from.seen)
        with worker_threads(1) as aside:
            # Before: a file that changes while pictures are reduced has changed since.
            looking = aside.submit(made_from.look)
            if cache:  # it knows headers by what the files hold
                wait([looking])
            ready = readiness(recipe, strict=strict, whole=strict, known=made_from.headers, plan=chain.plan)
            sources = {file.source for file in recipe.files}
            bad = {one: None for one in ready.findings if keep_going and one.level == "error" and one.where in sources}
            refuse_errors([one for one in ready.findings if one not in bad])
            bench = once(partial(_bench_of, recipe))
            if recipe.per_tray is None:
                bench()
            if error := looking.exception():  # at one file of those that readiness finds
                refuse_errors(ready.findings)
                raise error
        made_from.keep_headers(ready.probes)
        account = made_from.account(began=began) if cache and began else None
        kept = made_from.kept_trays(chain.plan)
        made_before = {tray.number: known for tray in ready.trays if kept and (known := kept.of(tray))}
        code = partial(chain.code_pictures, workers=workers, progress=progress, executor=executor)
        stay = {file for tray in ready.trays if tray.number in made_before for file in tray.files}
        coded = code([file for file in recipe.files if file not in stay], refused=refused, keep_going=keep_going)
        reduced = coded.reduced
        bad |= {Finding(level="error", where=fault.where, message=fault.message): None for fault in coded.faults}
        cautions = _cautions(recipe, coded.cautions, made_before.values(), strict=strict)
        found = refuse_errors([*recipe.findings, *cautions])
        trays, left_out = _dealt(ready, coded.frames, list(bad))
    numbers = [tray.number for tray in trays]
    with staged_output(recipe.output, recipe.owner) as staging:
        recorded = recorded_chips(recipe)
        earlier = Earlier.of(recipe)
        maker = _TrayMaker(
            chain=chain,
            staging=staging,
            recorded=recorded,
            inputs=made_from.digest,
            versions=versions(),
            found=found,
            kept=kept,
            made_before=made_before,
            frames=ready.frames,
            code=code,
            earlier=earlier,
            make_bench=bench,
            workers=workers or os.cpu_count() or 1,
        )
        links = (links_of(recipe, tray.number, numbers, together) for tray in trays)
        made = Manifests(seen=made_from.seen)
        for each in maker.trays(trays, coded, links):
            made.add(each)
        changed = version_findings(earlier.manifest, made, maker.inputs, maker.versions)
        with staging.writing(FILE) as file:
            for piece in made.text():
                file.write(piece.encode())
        manifest = file_digest(staging.folder / FILE)
        for name, page in _pages(maker, made):
            staging.write(name, page)
        if kept:
            kept.keep()
    before = [one for one in ready.findings if one.level == "caution" and one.where in ("output", "pictures")]
    found = tuple(dict.fromkeys((*found, *recipe.cautions, *before, *recorded.findings)))
    lasting = not bad and all(one.where != "output" for one in before)
    unclaimed = recorded.record and recorded.record.of_recipe(None)  # chips: whose they are depends on other recipes
    if cache and account and lasting and not unclaimed:
        account.keep(cache, manifest, found)
    told = (*found, *bad, *left_out, *changed, *_edited(staging))
    return Built(output=recipe.output, manifest=made, findings=told, reduced=reduced, complete=not bad)


def _dealt(
    ready: Readiness, coded: Mapping[PictureFile, int], bad: Sequence[Finding]
) -> tuple[list[Tray], list[Finding]]:
    """Return the trays to build, and an error for each one that is left out because of bad pictures.

    ``coded`` is how many pictures files have turned out to have.

    Raises PictureError when no tray is left.
    """
    counts = {**dict.fromkeys(ready.plan.recipe.files, 1), **ready.frames, **coded}
    trays = ready.trays if ready.trays and counts == ready.frames else deal(ready.plan, counts)
    spoilt = {one.where for one in bad}
    left_out, building = [], []
    for tray in trays:
        names = [file.source for file in tray.files if file.source in spoilt]
        if names:
            message = f"not built because of {joined(names)}; correct or leave out what is wrong, and build again"
            left_out.append(Finding(level="error", where=f"tray {tray.number}", message=message))
        else:
            building.append(tray)
    if not building:
        raise PictureError.of(Fault(where=one.where, message=one.message) for one in bad)
    return building, left_out


class _TrayMaker(Frozen):
    """Makes the trays of a build, with what they have in common."""

    chain: Chain
    staging: Staging
    recorded: Recorded
    inputs: str | None
    """Their digest."""
    versions: Mapping[str, str]
    found: Sequence[Finding]
    kept: KeptTrays | None
    made_before: Mapping[int | None, KeptTray]
    """What is known of trays, by their numbers."""
    frames: Mapping[PictureFile, int]
    """What the headers say."""
    code: Callable[[Sequence[PictureFile]], CodedPictures]
    """Codes pictures that were left out because their trays were known."""
    earlier: Earlier
    make_bench: Callable[[], Sequence[str]]
    workers: int
    """How many trays are made at once."""

    @cached_property
    def found_digest(self) -> str:
        """Digest of what was found."""
        return digest_of(self.found)

    @cached_property
    def bench(self) -> Sequence[str]:
        """The bench sheet as text and as a page, and its tables; as kept of a build before, where there are trays."""
        return self.kept.shared("bench sheet", self.make_bench) if self.kept else self.make_bench()

    def sections(self, made: Iterable[MadeTray]) -> Iterator[str]:
        """Yield what the page of all trays has of each; the trays that are as they were have theirs in the output."""
        left = SCREEN_BYTES
        for each in made:
            make = partial(self._section, each, left)
            key = each["devices"], each["pictures"], left
            section, left = self.kept.shared(key, make) if self.kept else make()
            yield section

    def _section(self, made: MadeTray, left: int) -> tuple[str, int]:
        folders = self.staging.folder, self.staging.output
        return tray_section(self.chain.recipe.board, manifest_of(made), folders, left)

    def trays(self, trays: Iterable[Tray], coded: CodedPictures, links: Iterable[Links]) -> Iterator[MadeTray]:
        """Write the files of trays, several at once, by threads; yield what each adds to common files, in order.

        Of thousands of pictures no more than that stays in memory.
        """
        waiting: deque[Callable[[], MadeTray]] = deque()
        with worker_threads(self.workers) as pool:
            for tray, shown in zip(trays, links, strict=True):
                waiting.append(self._begun(tray, coded, shown, pool))
                if len(waiting) > self.workers:
                    yield waiting.popleft()()
            while waiting:
                yield waiting.popleft()()

    def _begun(
        self, tray: Tray, coded: CodedPictures, links: Links, pool: ThreadPoolExecutor
    ) -> Callable[[], MadeTray]:
        """Begin to write the files of a tray; those of the last build stay where they would be the same."""
        chips = self.recorded.of_tray(tray.number or 1)
        shown = KeptTrays.shown(chips.values(), self.found_digest, self.inputs, links)
        known = self.made_before.get(tray.number)
        if self.kept and known and known.key == self.kept.key(tray) and self.kept.take(known, shown, self.staging):
            return lambda: known.made
        own = coded.taken(tray.files) if coded.has(tray.files) else self.code(tray.files)
        keeping = self.kept and all(count == self.frames.get(file) for file, count in own.frames.items())
        making = pool.submit(self._made, tray, own, chips, links)

        def made() -> MadeTray:
            shared, digests = making.result()
            if self.kept and keeping:
                self.kept.add(tray, shared, shown, self.staging.folder, digests)
            return shared

        return made

    def _made(
        self, tray: Tray, coded: CodedPictures, chips: Mapping[str, Chip], links: Links
    ) -> tuple[MadeTray, dict[str, str]]:
        """Arrange the pictures of a tray, write its device files and its proof; return what it shares, and files."""
        recipe = self.chain.recipe
        pictures = with_cards(recipe, coded, tray.cards)
        with _named(tray):
            contents = self.chain.arrange(pictures)
            files = self.chain.emit(contents)
        files = [replace(file, name=f"{tray.folder}{file.name}") for file in files]
        write = self.staging.write
        written = {(path := f"devices/{file.name}"): write(path, file.data) for file in files}
        # Read back from disk. What shows the format of a file stays; its other data need not wait in memory.
        files = [replace(file, data=file.data[:_BEGINNING]) for file in files]
        words = read_memories(recipe.board, self.staging.folder / "devices", files)
        banks = shown_banks(recipe.board, [placed.bank for placed in contents.pictures])
        scanned = Scanned(board=recipe.board, words=words, banks=banks, tile_sets=contents.tile_sets)
        made = describe(
            project=recipe.name,
            board=recipe.board,
            contents=contents,
            files=files,
            images=scanned.images,
            screens={bank: f"proof/{tray.folder}{name}" for bank, name in screen_names(scanned).items()},
            burned=chips,
            details={each.origin.name: {**each.notes, "metrics": dict(each.metrics)} for each in pictures.described},
            merged=merged_metrics(scanned, contents.pictures, pictures),
            digest=self.inputs,
            versions=self.versions,
            revision=recipe.revision,
            tray=tray.number,
        )
        shown, before = printable_values(made), self.earlier.tray(tray.number, chips)
        proof = proof_files(
            printable(recipe.title),
            scanned,
            shown,
            self.found,
            before=before,
            bench=Markup(self.bench[2]),  # noqa: S704 - of our own templates
            views=pictures.views(),
            viewing=recipe.viewing,
            links=links,
            tray=tray.number,
        )
        for name, data in proof:
            path = f"proof/{tray.folder}{name}"
            written[path] = write(path, data)
        return made_tray(made, burn_part(recipe.board, shown)), written


def _bench_of(recipe: Recipe) -> Sequence[str]:
    """Return the bench sheet as text and as a page, and its tables for the page of each tray."""
    from ladderlight.bench.sheets.document import bench_of
    from ladderlight.bench.sheets.files import bench_page, bench_parts, bench_sheet

    title, bench = printable(recipe.title), bench_of(recipe.board, recipe.findings)
    return bench_sheet(title, bench), bench_page(title, bench), bench_parts(bench)


@contextmanager
def _named(tray: Tray) -> Iterator[None]:
    """Name the tray in errors of its arrangement."""
    try:
        yield
    except ArrangementError as error:
        if tray.number is None:
            raise
        faults = [replace(one, where=tray.place(one.where or "pictures")) for one in error.faults]
        raise ArrangementError.of(faults) from None


def _pages(maker: _TrayMaker, made: Manifests) -> Iterator[tuple[str, bytes]]:
    """Yield the sheets of all trays, which are written beside their device files and proofs."""
    board, title = maker.chain.recipe.board, printable(maker.chain.recipe.title)
    yield "bench-sheet.txt", maker.bench[0].encode()
    yield "bench-sheet.html", maker.bench[1].encode()
    burn = [each["burn"] for each in made]
    yield "burn-sheet.txt", burn_sheet(board, burn).encode()
    yield "burn-sheet.html", burn_page(board, burn).encode()
    if burn[0]["labels"]:
        yield "proof/index.html", trays_page(title, board, list(maker.sections(made))).encode()


def _cautions(
    recipe: Recipe, coded: Iterable[tuple[str, int, str]], known: Iterable[KeptTray], *, strict: bool
) -> list[Finding]:
    """Return the cautions that stages have of files, each once, in the recipe's order; errors if ``strict``."""
    noted = [*coded, *(caution for tray in known for caution in tray.cautions)]
    places = {file.source: place for place, file in enumerate(recipe.files)}
    found = sorted((places[source], frame, source, text) for source, frame, text in noted)
    texts = dict.fromkeys((source, text) for _, _, source, text in found)
    return [Finding(level="error" if strict else "caution", where=source, message=text) for source, text in texts]


def _edited(staging: Staging) -> Iterator[Finding]:
    for path, kept in staging.edited.items():
        message = f"was changed since the last build and is replaced; the changed file is kept as {kept}"
        yield Finding(level="caution", where=str(path), message=message)
