"""``ladderlight watch``."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from ladderlight.commands.terminal import options
from ladderlight.commands.terminal.arguments import recipe_path
from ladderlight.commands.terminal.reporting import failure_of, print_lines, stderr, stdout
from ladderlight.system.paths import is_file
from ladderlight.system.printable import printable
from ladderlight.units.words import counted

if TYPE_CHECKING:
    from ladderlight.recipe import Recipe
    from ladderlight.recipe.watching import Reads
    from ladderlight.serving.site import Bulletin
    from ladderlight.system.paths import Mark

_PAUSE = 0.3  # shortest pause between two looks at the files, in seconds
_SHARE = 20  # least ratio of the pause before a look at the files to the work of the last look
_SETTLED = 0.1  # time without a change before a build begins, in seconds
_MOST = 3.0  # longest wait for files that go on changing, such as a picture that is written in pieces, in seconds


def watch(
    recipe: options.RecipeArgument = None,
    *,
    page: Annotated[
        bool, typer.Option("--page", help="Serve the proof to browsers of this machine, and refresh it by itself.")
    ] = False,
    workers: options.WorkersOption = None,
    revision: options.RevisionOption = None,
    quiet: options.QuietOption = False,
) -> None:
    """Build a recipe, and again when a file that it reads changes.

    Only what a change touches is built again. Ctrl-C ends it.
    """
    from ladderlight.recipe import load_revisions

    path = recipe_path(recipe)
    if not is_file(path):
        load_revisions(path)  # raises an error that names what is there instead
    path = path.absolute()  # the current folder may be deleted and made again
    sys.dont_write_bytecode = True  # the times of bytecode are whole seconds; a plugin may change within one
    with suppress(KeyboardInterrupt), _bulletin() if page else nullcontext() as bulletin:
        _Watch(path=path, revision=revision, workers=workers, quiet=quiet, bulletin=bulletin).go_on()


@contextmanager
def _bulletin() -> Iterator[Bulletin]:
    """Serve what is posted there; the address is printed with ``--quiet`` too, for nothing else has it."""
    from ladderlight.serving.server import serving
    from ladderlight.serving.site import Bulletin

    found = Bulletin()
    with serving(found) as address:
        stdout().print(address, whole=[address])
        sys.stdout.flush()
        yield found


@dataclass(kw_only=True)
class _Watch:
    path: Path
    revision: str | None
    workers: int | None
    quiet: bool
    bulletin: Bulletin | None
    errors: list[str] = field(default_factory=list)
    """Of the builds since the last change."""

    def go_on(self) -> NoReturn:
        from ladderlight.recipe import load_revisions
        from ladderlight.recipe.watching import Reads, forget_modules
        from ladderlight.storage.record import MANIFEST
        from ladderlight.workspace.burned import FILE

        console = stderr(quiet=self.quiet)
        reads = Reads.of_broken(self.path)
        good = None
        while True:
            began, before = time.time_ns(), reads.look()
            forget_modules(reads.files)
            self.errors = []
            loaded: Sequence[Recipe] = ()
            with self._failures_printed():
                loaded = load_revisions(self.path, revision=self.revision)
            if loaded:
                good = Reads.of(*loaded)
                good = replace(good, files=good.files | {loaded[0].folder / FILE})  # the pages say what is to burn
            reads = good if loaded and good is not None else Reads.of_broken(self.path, good)
            made = frozenset(each.output / MANIFEST for each in loaded)  # an output that is deleted is built again
            reads = replace(reads, files=reads.files | made)
            seen = reads.look()
            # A file that changed while the recipe was read counts as changed.
            seen |= {file: mark for file, mark in before.items() if file in seen}
            self._post(site=loaded, ended=not loaded)
            for each in loaded:
                built = None
                with self._failures_printed():
                    line, proof = _built(each, self.workers, began, [one.revision for one in loaded if one.revision])
                    console.print(line, whole=[str(proof), f"{proof}:"])
                    built = each.revision or ""
                self._post(built=built, ended=each is loaded[-1])
            seen |= {file: mark for file, mark in reads.look().items() if file in made}
            console.print("watching; Ctrl-C ends", style="dim")
            _wait(reads, seen)

    def _post(self, *, ended: bool, site: Sequence[Recipe] = (), built: str | None = None) -> None:
        """Have the pages show what is known so far. Errors stay until the builds have ended."""
        if self.bulletin is None:
            return
        from ladderlight.serving.site import Site

        changes: dict[str, Any] = {"errors": tuple(self.errors)} if ended else {}
        if site:
            changes["site"] = Site(folders={each.revision or "": each.output for each in site})
        self.bulletin.post(built=built, **changes)

    @contextmanager
    def _failures_printed(self) -> Iterator[None]:
        """Print what goes wrong, and go on: a mistake in a recipe or a plugin is about to be corrected."""

        try:
            yield
        except (Exception, SystemExit) as error:  # noqa: BLE001 - a plugin may fail in any way
            faults = failure_of(error)[1]
            print_lines(faults)
            self.errors += [printable(str(fault)) for fault in faults]


def _built(recipe: Recipe, workers: int | None, began: int, together: Sequence[str]) -> tuple[str, Path]:
    """Build a recipe unless nothing has changed for it. Return what was done, and the proof."""
    from ladderlight.proof.burnsheet import chip_label
    from ladderlight.workspace.build import build
    from ladderlight.workspace.up_to_date import up_to_date

    last = up_to_date(recipe.path, recipe.revision)
    if last is not None:
        proof = last.output / "proof" / "index.html"
        return f"{proof}: up to date", proof
    start = time.monotonic()
    built = build(recipe, workers=workers, began=began, together=together)
    pictures = f"{built.reduced:,} of {counted(len(recipe.files), 'picture')} reduced; " if recipe.files else ""
    changed = [chip_label(device["name"], device.get("tray")) for device in built.manifest.devices if device["changed"]]
    to_burn = "; ".join(changed) or "nothing"
    return f"built {built.proof} in {time.monotonic() - start:.2f} s; {pictures}to burn: {to_burn}", built.proof


def _wait(reads: Reads, seen: Mapping[Path, Mark | None]) -> None:
    now, pause = seen, _PAUSE
    while now == seen:
        time.sleep(pause)
        began = time.thread_time()  # that others keep the machine busy is no reason to wait
        now = reads.look()
        pause = max(_PAUSE, _SHARE * (time.thread_time() - began))
    end = time.monotonic() + _MOST
    while time.monotonic() < end:
        time.sleep(_SETTLED)
        before, now = now, reads.look()
        if now == before:
            return
