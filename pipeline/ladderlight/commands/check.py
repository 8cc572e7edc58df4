"""``ladderlight check``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ladderlight.commands.terminal import options
from ladderlight.commands.terminal.arguments import recipe_path, refuse_ending
from ladderlight.commands.terminal.reporting import LineConsole, print_findings, print_revisions, stderr, stdout
from ladderlight.errors import is_refused
from ladderlight.system.printable import printable
from ladderlight.units.words import address, counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ladderlight.board import Board, Finding, Memory, Palette
    from ladderlight.board.model.raster import Counter
    from ladderlight.board.scanning.timing import Timing
    from ladderlight.engine.trays import Tray
    from ladderlight.recipe import Recipe, StageUse


def check(
    recipe: options.RecipeArgument = None,
    *,
    page: Annotated[
        Path | None, typer.Option(metavar="FILE.html", help="Write a page with all figures and plots of the board.")
    ] = None,
    strict: Annotated[bool, typer.Option("--strict", help="Take cautions for errors.")] = False,
    revision: options.RevisionOption = None,
    json_: options.JsonOption = False,
    quiet: options.QuietOption = False,
    verbose: Annotated[
        bool, typer.Option("--verbose", "-v", help="List the stages with their options, and the pictures in order.")
    ] = False,
) -> None:
    """Check a recipe: its mistakes, picture size, colours, timing."""
    from ladderlight.recipe import load_revisions

    path = recipe_path(recipe)
    recipes = load_revisions(path, pictures="checked", revision=revision, one=page is not None)
    checked = [(each, *_checked(each, page, strict=strict)) for each in recipes]
    if json_:
        from ladderlight.board.advice.report import report

        print_revisions({each.revision: report(each.board, found) for each, found, _ in checked})
    else:
        for each, found, trays in checked:
            _print(each, found, trays, quiet=quiet, verbose=verbose)
        if page is not None:
            stdout(quiet=quiet).print(page)
    if any(is_refused(found) for _, found, _ in checked):
        raise typer.Exit(1)


def _checked(loaded: Recipe, page: Path | None, *, strict: bool) -> tuple[list[Finding], Sequence[Tray]]:
    """Return all findings of a recipe, and its trays where they are known; write the page."""
    from ladderlight.workspace.last_build import stale_findings
    from ladderlight.workspace.readiness import readiness
    from ladderlight.workspace.recorded import burn_findings

    if page is not None:
        from ladderlight.recipe.inputs import writer_of

        write = writer_of([page], loaded, command="check --page")
        refuse_ending(page, (".html", ".htm"))
    ready = readiness(loaded, strict=strict)
    found = list(ready.findings)
    if not is_refused(loaded.findings):
        refused = {finding.where for finding in found if finding.level == "error"}
        found += [finding for finding in stale_findings(loaded, ready.trays) if finding.where not in refused]
        found += burn_findings(loaded)
    if page is not None:
        from ladderlight.proof.pages import board_page

        findings = [replace(one, where=printable(one.where), message=printable(one.message)) for one in found]
        write({page: board_page(printable(loaded.title), loaded.board, findings).encode()})
    return found, ready.trays


def _print(loaded: Recipe, found: Sequence[Finding], trays: Sequence[Tray], *, quiet: bool, verbose: bool) -> None:
    if quiet:
        print_findings(stderr(), found, quiet=True, revision=loaded.revision)
        return
    console, works = stdout(), not is_refused(found)
    _print_board(console, loaded.title, loaded.board)
    if verbose:
        _print_chain(console, loaded)
    for tray in trays if verbose and works and loaded.per_tray is not None else ():
        console.print(f"tray {tray.number}   {', '.join([*(file.source for file in tray.files), *tray.cards])}")
    print_findings(console, found)
    waiting = loaded.takes_pictures and not loaded.files and not loaded.cards
    ready = "no pictures yet; add [pictures] to build" if waiting else "ready to build"
    console.print(ready if works else "fix the errors first")


def _print_board(console: LineConsole, name: str, board: Board) -> None:
    from ladderlight.board.model.board import BLANKING
    from ladderlight.board.scanning.timing import timings

    geometry, raster = board.geometry, board.raster
    console.print(name, style="bold")
    rows = [
        (
            "picture",
            f"{geometry.width} x {geometry.height} pixels, each {counted(geometry.repeat_x, 'count')} by "
            f"{counted(geometry.repeat_y, 'line')}; pixel aspect {geometry.pixel_aspect:.4g}; "
            f"{counted(board.bank_count, 'bank')}",
        ),
        (
            "raster",
            f"{raster.mode.name}, {raster.x.visible} of {raster.x.total} counts and "
            f"{raster.y.visible} of {raster.y.total} lines visible; "
            f"{float(raster.line_rate) / 1e3:.3f} kHz, {float(raster.frame_rate):.2f} Hz",
        ),
        ("colours", _colours(board.palette)),
        ("blanking", f"{board.blanking}: {BLANKING[board.blanking]}"),
    ]
    timed = timings(board)
    rows += [(f"memory {memory.name}", _memory(board, memory, timed[memory.name])) for memory in board.memories]
    rows += [("x counter", _counter(board.x_counter)), ("y counter", _counter(board.y_counter))]
    width = max(len(label) for label, _ in rows)
    for label, text in rows:
        console.print(f"{label:{width}}  {text}")


def _print_chain(console: LineConsole, recipe: Recipe) -> None:
    for use in recipe.chain:
        console.print(f"stage    {_written(use)}")
    for file in recipe.files:
        console.print(f"picture  {file.source}", whole=[file.source])
    for card in recipe.cards:
        console.print(f"card     {_written(card)}")


def _written(use: StageUse) -> str:
    shown = {name: counted(len(v), "byte") if isinstance(v, bytes) else v for name, v in use.options.items()}
    return f"{use.declaration.name}  {', '.join(f'{name} = {value}' for name, value in shown.items())}".rstrip()


def _counter(counter: Counter) -> str:
    shown = f" (shown from {counter.blanking_end})" if counter.blanking_end != counter.start else ""
    return (
        f"picture from {counter.start}{shown}, blanking from {counter.blanking_start}, sync from {counter.sync_start}, "
        f"back porch from {counter.sync_end}; after {counter.last} comes {counter.reset_to}"
    )


def _colours(palette: Palette) -> str:
    sums = palette.volts.sum(axis=1).round(6)  # the same to the last digit where voltages are
    black, white = int(sums.argmin()), int(sums.argmax())
    colours = counted(len({palette.hex_of(code) for code in range(len(palette))}), "colour")
    text = f"{counted(len(palette), 'code')}, {colours}, from {palette.hex_of(black)} to {palette.hex_of(white)}"
    return f"{text}; brightest {palette.volts[white].max():.3f} V"


def _memory(board: Board, memory: Memory, timing: Timing) -> str:
    from ladderlight.board.scanning.extent import extent_of

    chips = f"{memory.chips} x " if memory.chips > 1 else ""
    text = f"{chips}{memory.part.number}, {memory.words:,} words of {memory.part.width} bits"
    if extent := extent_of(board, memory):
        text += f", {extent.used:,} of them read, the last {address(extent.last, memory.words)}"
    text += f"; each held {timing.hold * 1e9:.2f} ns"
    if timing.margin is not None and timing.left is not None:
        text += f", margin {timing.margin * 1e9:.2f} ns"
        if memory.output == "register":
            left = "after" if timing.left >= 0 else "too little for"
            text += f", {abs(timing.left) * 1e9:.2f} ns {left} the register's set-up"
    return text
