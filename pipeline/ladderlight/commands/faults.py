"""``ladderlight faults``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ladderlight.commands.terminal.options import JsonOption, QuietOption, RecipeArgument, recipe_path

if TYPE_CHECKING:
    from ladderlight.recipe import Recipe
    from ladderlight.units.arrays import MemoryWords

_PAGE = "faults --page"


def faults(
    recipe: RecipeArgument = None,
    *,
    bank: Annotated[int, typer.Option(min=0, metavar="NUMBER", help="The bank that is shown.")] = 0,
    page: Annotated[Path, typer.Option(metavar="FILE.html", help="The page to write.")] = Path("faults.html"),
    json_: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """Show what the screen looks like under each single wiring fault.

    The pictures are those of the last build. Faults that look the same are shown once.
    """
    from dataclasses import asdict

    from ladderlight.bench.faults.listing import faults_of
    from ladderlight.bench.faults.report import document_of, faults_page
    from ladderlight.bench.faults.screens import looks_of
    from ladderlight.commands.terminal.reporting import print_document, print_findings, stderr, stdout
    from ladderlight.recipe import load
    from ladderlight.recipe.inputs import input_files, refuse_in_the_way
    from ladderlight.storage.exports import export
    from ladderlight.system.printable import printable
    from ladderlight.workspace.last_build import stale_findings

    loaded = load(recipe_path(recipe), pictures="ignored")
    refuse_in_the_way([page], loaded, command=_PAGE)
    words, shown = _shown(loaded, bank)
    findings = stale_findings(loaded)
    print_findings(stderr(quiet=quiet), findings)
    looks = looks_of(loaded.board, words, bank, faults_of(loaded.board))
    text = faults_page(printable(loaded.name), loaded.board, shown, looks)
    export({page: text.encode()}, command=_PAGE, inputs=input_files(loaded).values())
    if json_:
        document = {"ok": True, "bank": bank, "faults": document_of(looks), "page": str(page)}
        print_document(document | {"findings": list(map(asdict, findings))})
        return
    count = sum(len(look.faults) for look in looks)
    console = stdout(quiet=quiet)
    console.print(f"{count:,} faults with {len(looks) - 1:,} different looks; {len(looks[0].faults)} cannot be seen")
    console.print(str(page))


def _shown(loaded: Recipe, bank: int) -> tuple[MemoryWords, str]:
    """Return the words of the last build, and what a bank shows, in words."""
    from ladderlight.errors import UsageError
    from ladderlight.units.words import joined
    from ladderlight.workspace.last_build import last_build

    if bank >= loaded.board.bank_count:
        raise UsageError(f"the board has no bank {bank}; use 0 to {loaded.board.bank_count - 1}")
    build = last_build(loaded.output, loaded.board, loaded.owner)
    names = joined(build.pictures.get(bank, []))
    return build.words, f"Bank {bank}" + (f" ({names})" if names else "")
