"""``ladderlight check``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ladderlight.commands.terminal.options import (
    JsonOption,
    QuietOption,
    RecipeArgument,
    RevisionOption,
    recipe_path,
    refuse_ending,
)
from ladderlight.system.printable import printable, printable_values
from ladderlight.units.words import counted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from ladderlight.commands.terminal.console import LineConsole
    from ladderlight.engine.trays import Tray
    from ladderlight.recipe import Recipe

_PAGE = "check --page"


def check(
    recipe: RecipeArgument = None,
    *,
    page: Annotated[
        Path | None, typer.Option(metavar="FILE.html", help="Write a page with all figures and plots of the board.")
    ] = None,
    strict: Annotated[bool, typer.Option("--strict", help="Take cautions for errors.")] = False,
    revision: RevisionOption = None,
    json_: JsonOption = False,
    quiet: QuietOption = False,
    verbose: Annotated[
        bool, typer.Option("--verbose", "-v", help="List the stages with their options, and the pictures in order.")
    ] = False,
) -> None:
    """Check a recipe: its mistakes, picture size, colours, timing."""
    from ladderlight.commands.terminal.reporting import print_revisions, stdout
    from ladderlight.recipe import load, load_revisions

    path = recipe_path(recipe)
    if page is None:
        recipes = load_revisions(path, pictures="checked", revision=revision)
    else:
        recipes = (load(path, pictures="checked", revision=revision),)
    checked = {each.revision: _checked(each, page, strict=strict) for each in recipes}
    documents = {revision: document for revision, (document, _) in checked.items()}
    if json_:
        print_revisions(documents)
    else:
        for each in recipes:
            _print(each, *checked[each.revision], quiet=quiet, verbose=verbose)
        if page is not None:
            stdout(quiet=quiet).print(page)
    if not all(document["ok"] for document in documents.values()):
        raise typer.Exit(1)


def _checked(loaded: Recipe, page: Path | None, *, strict: bool) -> tuple[dict[str, Any], Sequence[Tray]]:
    """Return all there is to say of a recipe, and its trays where they are known; write the page."""
    from dataclasses import asdict

    from ladderlight.board import Finding
    from ladderlight.board.advice.report import report
    from ladderlight.board.model.findings import is_refused
    from ladderlight.workspace.last_build import stale_findings
    from ladderlight.workspace.readiness import readiness
    from ladderlight.workspace.recorded import burn_findings

    if page is not None:
        from ladderlight.recipe.inputs import input_files, refuse_in_the_way
        from ladderlight.storage.exports import export

        refuse_in_the_way([page], loaded, command=_PAGE)
        refuse_ending(page, (".html", ".htm"))
    document = report(loaded.board, loaded.findings)
    works = document["ok"]
    ready = readiness(loaded, strict=strict)
    found = ready.findings
    document["ok"] = not is_refused(found)
    if works:
        refused = {finding.where for finding in found if finding.level == "error"}
        found += [finding for finding in stale_findings(loaded, ready.trays) if finding.where not in refused]
        found += burn_findings(loaded)
    document["findings"] = list(map(asdict, found))
    if page is not None:
        from ladderlight.proof.pages import board_page

        findings = [Finding(**printable_values(finding)) for finding in document["findings"]]
        shown = board_page(printable(loaded.title), loaded.board, findings).encode()
        export({page: shown}, command=_PAGE, inputs=input_files(loaded).values())
    return document, ready.trays


def _print(loaded: Recipe, document: Mapping[str, Any], trays: Sequence[Tray], *, quiet: bool, verbose: bool) -> None:
    from ladderlight.board import Finding
    from ladderlight.commands.terminal.reporting import print_findings, stderr, stdout

    findings = [Finding(**finding) for finding in document["findings"]]
    if quiet:
        print_findings(stderr(), findings, quiet=True)
        return
    console = stdout()
    _print_board(console, loaded.title, document)
    if verbose:
        _print_chain(console, loaded)
    for tray in trays if verbose and document["ok"] and loaded.per_tray is not None else ():
        console.print(f"tray {tray.number}   {', '.join([*(file.source for file in tray.files), *tray.cards])}")
    print_findings(console, findings)
    waiting = loaded.takes_pictures and not loaded.files and not loaded.cards
    ready = "no pictures yet; add [pictures] to build" if waiting else "ready to build"
    console.print(ready if document["ok"] else "fix the errors first")


def _print_board(console: LineConsole, name: str, document: Mapping[str, Any]) -> None:
    from ladderlight.board.model.board import BLANKING

    picture, raster = document["picture"], document["raster"]
    blanking = document["blanking"]["way"]
    console.print(name, style="bold")
    rows = [
        (
            "picture",
            f"{picture['width']} x {picture['height']} pixels, each {counted(picture['repeat_x'], 'count')} by "
            f"{counted(picture['repeat_y'], 'line')}; pixel aspect {picture['pixel_aspect']:.4g}; "
            f"{counted(picture['banks'], 'bank')}",
        ),
        (
            "raster",
            f"{raster['mode']}, {raster['x']['visible']} of {raster['x']['total']} counts and "
            f"{raster['y']['visible']} of {raster['y']['total']} lines visible; "
            f"{raster['line_rate_hz'] / 1e3:.3f} kHz, {raster['frame_rate_hz']:.2f} Hz",
        ),
        ("colours", _colours(document["palette"])),
        ("blanking", f"{blanking}: {BLANKING[blanking]}"),
    ]
    rows += [
        (f"memory {memory['name']}", _memory(memory, document["timing"][memory["name"]]))
        for memory in document["memories"]
    ]
    rows += [("x counter", _counter(raster["x"])), ("y counter", _counter(raster["y"]))]
    width = max(len(label) for label, _ in rows)
    for label, text in rows:
        console.print(f"{label:{width}}  {text}")


def _print_chain(console: LineConsole, recipe: Recipe) -> None:
    for use in recipe.chain:
        given = ", ".join(f"{name} = {_written(value)}" for name, value in use.options.items())
        console.print(f"stage    {use.declaration.name}  {given}".rstrip())
    for file in recipe.files:
        console.print(f"picture  {file.source}", whole=[file.source])
    for card in recipe.cards:
        given = ", ".join(f"{name} = {_written(value)}" for name, value in card.options.items())
        console.print(f"card     {card.declaration.name}  {given}".rstrip())


def _written(value: Any) -> str:
    return counted(len(value), "byte") if isinstance(value, bytes) else f"{value}"


def _counter(axis: Mapping[str, int]) -> str:
    """Return what a counter reads where each part of the scan begins."""
    shown = f" (shown from {axis['blanking_end']})" if axis["blanking_end"] != axis["start"] else ""
    return (
        f"picture from {axis['start']}{shown}, blanking from {axis['blanking_start']}, sync from {axis['sync_start']}, "
        f"back porch from {axis['sync_end']}; after {axis['last']} comes {axis['reset_to']}"
    )


def _colours(palette: Sequence[Mapping[str, Any]]) -> str:
    colours = len({entry["srgb"] for entry in palette})
    black, white = (pick(palette, key=lambda entry: sum(entry["volts"])) for pick in (min, max))
    text = f"{counted(len(palette), 'code')}, {counted(colours, 'colour')}, from {black['srgb']} to {white['srgb']}"
    return f"{text}; brightest {max(white['volts']):.3f} V"


def _memory(memory: Mapping[str, Any], timing: Mapping[str, Any]) -> str:
    chips = f"{memory['chips']} x " if memory["chips"] > 1 else ""
    text = f"{chips}{memory['part']}, {memory['words']:,} words of {memory['width']} bits"
    if memory["used_words"] is not None:
        text += f", {memory['used_words']:,} of them read, the last {memory['last_word']:04X}h"
    text += f"; each held {timing['hold_ns']:.2f} ns"
    if timing["margin_ns"] is not None:
        text += f", margin {timing['margin_ns']:.2f} ns"
        if memory["output"] == "register":
            left = timing["left_ns"]
            text += f", {abs(left):.2f} ns {'after' if left >= 0 else 'too little for'} the register's set-up"
    return text
