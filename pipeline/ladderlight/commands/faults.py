"""``ladderlight faults``."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ladderlight.commands.terminal import options
from ladderlight.commands.terminal.arguments import recipe_path
from ladderlight.commands.terminal.reporting import print_document, print_findings, stderr, stdout
from ladderlight.errors import BuildError, PictureError, UsageError
from ladderlight.system.printable import printable
from ladderlight.units.words import joined

if TYPE_CHECKING:
    from ladderlight.bench.photograph.raster import Corners
    from ladderlight.board import Finding
    from ladderlight.recipe import Recipe
    from ladderlight.units.arrays import MemoryWords, Singles

_BEYOND = 0.1  # share of a photograph's size by which a corner may lie outside: where the edge has cut one off


def faults(
    recipe: options.RecipeArgument = None,
    *,
    photo: Annotated[
        Path | None,
        typer.Option(metavar="PHOTO", help="A photograph of the screen, JPEG or PNG: name the likeliest faults."),
    ] = None,
    corners: Annotated[
        str | None,
        typer.Option(
            metavar="X,Y,X,Y,X,Y,X,Y",
            help="Corners of the raster in the photograph, in pixels, from top left clockwise; found by default.",
        ),
    ] = None,
    revision: options.OneRevisionOption = None,
    tray: Annotated[
        int | None, typer.Option(min=1, metavar="NUMBER", help="The tray that is shown, if there are several.")
    ] = None,
    bank: Annotated[
        int | None, typer.Option(min=0, metavar="NUMBER", help="The bank that is shown.  [default: 0]")
    ] = None,
    card: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="The test card that is shown, of the last build --cards if there is one."),
    ] = None,
    page: Annotated[
        Path | None,
        typer.Option(metavar="FILE.html", help="The page to write.  [default: faults.html beside the recipe]"),
    ] = None,
    json_: options.JsonOption = False,
    quiet: options.QuietOption = False,
) -> None:
    """Show the screen under each wiring fault, or find one in a photo.

    The pictures are those of the last build, or a test card. Faults that look the same are shown once.
    """
    from ladderlight.bench.faults.listing import faults_of
    from ladderlight.bench.faults.report import document_of, faults_page, summary
    from ladderlight.bench.faults.screens import looks_of
    from ladderlight.recipe import load
    from ladderlight.recipe.inputs import writer_of
    from ladderlight.workspace.last_build import stale_findings

    if corners is not None and photo is None:
        raise UsageError("--corners is for a photograph; name it with --photo")
    given = _corners(corners) if corners is not None else None
    loaded = load(recipe_path(recipe), pictures="ignored", revision=revision)
    page = page or loaded.folder / "faults.html"
    write = writer_of([page], loaded, command="faults --page", read=[photo] if photo else ())
    if bank is not None and bank >= loaded.board.bank_count:
        raise UsageError(f"the board has no bank {bank}; use 0 to {loaded.board.bank_count - 1}")
    photograph = _photograph(photo, given) if photo else None
    if card is None:
        bank, findings = bank or 0, stale_findings(loaded)
        words, shown = _built(loaded, tray, bank)
    else:
        words, bank, shown, findings = _carded(recipe_path(recipe), loaded, card, bank)
    print_findings(stderr(), findings, quiet=quiet)
    looks = looks_of(loaded.board, words, bank, faults_of(loaded.board))
    document: dict[str, Any]
    if photograph is None:
        text = faults_page(printable(loaded.title), loaded.board, shown, looks)
        document = {"ok": True, "bank": bank, "faults": document_of(looks)}
        lines = [summary(looks)]
    else:
        from ladderlight.bench.photograph.ranking import ranked
        from ladderlight.bench.photograph.report import alike, lines_of, next_steps, photograph_page
        from ladderlight.bench.photograph.report import document_of as photograph_document
        from ladderlight.bench.photograph.telling import telling_card, telling_reading

        pixels, scale = photograph
        if (ranking := ranked(pixels, looks, None if given is None else given / scale - 0.5)) is None:
            message = "shows no bright screen in dark surroundings; darken the room, or give its --corners"
            raise PictureError(message, where=photo)
        sound = any(candidate.sound for candidate in ranking.equal)
        equal = alike(ranking)
        next_card = telling_card(loaded, bank, equal, sound=sound, shown=card) if equal else None
        reading = telling_reading(loaded.board, words, bank, equal) if equal else None
        steps = next_steps(ranking, next_card, reading)
        text = photograph_page(printable(loaded.title), loaded.board, ranking, shown, steps)
        document = photograph_document(ranking, scale, next_card, reading)
        lines = lines_of(ranking, steps)
    write({page: text.encode()})
    if json_:
        print_document(document | {"page": str(page), "findings": list(map(asdict, findings))})
    else:
        stdout(quiet=quiet).print(*lines, page)
    if not document["ok"]:
        raise typer.Exit(1)


def _built(loaded: Recipe, tray: int | None, bank: int) -> tuple[MemoryWords, str]:
    """Return the words of a tray of the last build, and what a bank shows, in words."""
    from ladderlight.workspace.last_build import last_build

    build = last_build(loaded.output, loaded.board, loaded.owner)
    numbers = build.numbers(() if tray is None else (tray,))
    if len(numbers) > 1:
        raise UsageError(f"the last build has {len(numbers)} trays; name one with --tray")
    last = build.tray(numbers[0])
    names = joined(last.pictures.get(bank, []))
    place = f"Bank {bank}" if last.number is None else f"Tray {last.number}, bank {bank}"
    return last.words, place + (f" ({names})" if names else "")


def _carded(path: Path, loaded: Recipe, name: str, bank: int | None) -> tuple[MemoryWords, int, str, list[Finding]]:
    """Return the words that show a test card, its bank, both in words, and what is to be said of them.

    They are those of the last build of cards where that has the card: the other banks hold other cards then, which
    faults of bank lines show.
    """
    from ladderlight.bench.faults.screens import words_of_card
    from ladderlight.recipe import load
    from ladderlight.workspace.last_build import last_build, stale_findings

    alone = words_of_card(loaded, name, bank or 0)
    cards = load(path, pictures="cards", revision=loaded.revision)
    banks: list[int] = []
    with suppress(BuildError):
        last = last_build(cards.output, cards.board, cards.owner).tray()
        banks = [number for number, names in last.pictures.items() if name in names and bank in (None, number)]
    if not banks:
        return alone, bank or 0, f"Card {name}", []
    return last.words, banks[0], f"Card {name} in bank {banks[0]} of the built cards", stale_findings(cards)


def _photograph(path: Path, corners: Corners | None) -> tuple[Singles, float]:
    import numpy as np

    from ladderlight.bench.photograph.raster import read_photograph

    pixels, scale = read_photograph(path)
    size = np.array(pixels.shape[1::-1]) * scale
    if corners is not None and not ((corners > -_BEYOND * size) & (corners < (1 + _BEYOND) * size)).all():
        raise UsageError(f"--corners are outside the photograph of {size[0]:.0f} by {size[1]:.0f} pixels; correct them")
    return pixels, scale


def _corners(text: str) -> Corners:
    import numpy as np

    try:
        found = np.array([float(number) for number in text.split(",")]).reshape(4, 2)
        if not np.isfinite(found).all():
            raise ValueError
    except ValueError:
        message = f"--corners {text!r} is not eight numbers; write x,y of each, from top left clockwise"
        raise UsageError(message) from None
    along = np.roll(found, -1, axis=0) - found
    after = np.roll(along, -1, axis=0)
    if not (along[:, 0] * after[:, 1] - along[:, 1] * after[:, 0] > 0).all():
        raise UsageError("--corners do not go clockwise round a screen; write x,y of each, from top left")
    return found
