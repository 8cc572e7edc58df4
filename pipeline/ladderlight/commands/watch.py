"""``ladderlight watch``."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from ladderlight.commands.terminal.options import (
    QuietOption,
    RecipeArgument,
    RevisionOption,
    WorkersOption,
    recipe_path,
)
from ladderlight.system.paths import is_file

if TYPE_CHECKING:
    from ladderlight.recipe import Recipe
    from ladderlight.recipe.watching import Mark, Reads

_PAUSE = 0.3
"""Shortest pause between two looks at the files, in seconds."""
_SHARE = 20
"""Least ratio of the pause before a look at the files to the time that the last look took."""
_SETTLED = 0.1
"""Time without a change before a build begins, in seconds."""
_MOST = 3.0
"""Longest wait for files that go on changing, such as a picture that is written in pieces, in seconds."""


def watch(
    recipe: RecipeArgument = None,
    *,
    workers: WorkersOption = None,
    revision: RevisionOption = None,
    quiet: QuietOption = False,
) -> None:
    """Build a recipe, and again when a file that it reads changes.

    Ctrl-C ends it.
    """
    from ladderlight.commands.terminal.reporting import stderr
    from ladderlight.recipe import load_revisions
    from ladderlight.recipe.watching import Reads, forget_modules

    path = recipe_path(recipe)
    if not is_file(path):
        load_revisions(path)  # raises an error that names what is there instead
    path = path.absolute()  # the current folder may be deleted and made again
    console = stderr(quiet=quiet)
    sys.dont_write_bytecode = True  # the times of bytecode are whole seconds; a plugin may change within one
    reads = Reads.of_broken(path)
    good = None
    with suppress(KeyboardInterrupt):
        while True:
            before = reads.look()
            forget_modules(reads.files)
            loaded: Sequence[Recipe] = ()
            with _failures_printed():
                loaded = load_revisions(path, revision=revision)
            if loaded:
                good = Reads.of(*loaded)
            reads = good if loaded and good is not None else Reads.of_broken(path, good)
            seen = reads.look()
            # A file that changed while the recipe was read counts as changed.
            seen |= {file: mark for file, mark in before.items() if file in seen}
            for recipe_ in loaded:
                with _failures_printed():
                    proof, to_burn = _build(recipe_, workers)
                    console.print(f"built {proof}; to burn: {to_burn}", whole=[f"{proof};"])
            console.print("watching; Ctrl-C ends", style="dim")
            _wait(reads, seen)


def _build(recipe: Recipe, workers: int | None) -> tuple[Path, str]:
    from ladderlight.proof.burnsheet import chip_label
    from ladderlight.workspace.build import build

    built = build(recipe, workers=workers)
    changed = [chip_label(device) for device in built.manifest["devices"] if device["changed"]]
    return built.proof, ", ".join(changed) or "nothing"


@contextmanager
def _failures_printed() -> Iterator[None]:
    """Print what goes wrong, and go on: a mistake in a recipe or a plugin is about to be corrected."""
    from ladderlight.commands.terminal.failures import failure_of, print_lines

    try:
        yield
    except (Exception, SystemExit) as error:  # noqa: BLE001 - a plugin may fail in any way
        print_lines(failure_of(error)[1])


def _wait(reads: Reads, seen: Mapping[Path, Mark]) -> None:
    """Wait until the files have changed, and then until they stay the same."""
    now, pause = seen, _PAUSE
    while now == seen:
        time.sleep(pause)
        began = time.monotonic()
        now = reads.look()
        pause = max(_PAUSE, _SHARE * (time.monotonic() - began))
    end = time.monotonic() + _MOST
    while time.monotonic() < end:
        time.sleep(_SETTLED)
        before, now = now, reads.look()
        if now == before:
            return
