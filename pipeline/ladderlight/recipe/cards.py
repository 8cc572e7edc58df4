"""The test cards of a recipe."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from ladderlight.board import Board
from ladderlight.colour.viewing import Viewing
from ladderlight.errors import PluginError, Problem, RecipeError, StageFailure, nearest_word
from ladderlight.recipe.boards import no_such_bank
from ladderlight.recipe.chain import problem_of, read_files
from ladderlight.recipe.language.model import CardUse, Recipe, StageUse
from ladderlight.recipe.source.problems import Report, listed
from ladderlight.stages.boundary import HooksOf
from ladderlight.stages.kinds import Kind
from ladderlight.stages.registry import StageRegistry

_OWN_KEYS = ("use", "bank", "tray")


def cards_of(raw: Mapping[str, Any], folder: Path, registry: StageRegistry, report: Report) -> dict[int, CardUse]:
    """Check the options of the cards of ``[pictures]``. Return these by place, with files read in."""
    cards: dict[int, CardUse] = {}
    for place, entry in enumerate(listed(raw, "pictures", "cards")):
        where = ("pictures", "cards", place)
        table = {"use": entry} if isinstance(entry, str) else entry
        if report.has(*where) or not isinstance(table, dict):
            continue
        name = str(table["use"])
        at = where if isinstance(entry, str) else (*where, "use")
        try:
            declaration = registry.get(name)
        except PluginError as error:
            if name not in registry.uses and str(error).startswith("no stage"):
                known = [summary.name for summary in registry.summaries() if summary.kind is Kind.CARD]
                report.add(at, f"no card is called {name!r}", nearest_word(name, known))
            else:
                report.add_all([problem_of(error, at)])
            continue
        if declaration.kind is not Kind.CARD:
            report.add(at, f"stage {name!r} ({declaration.kind.phrase}) is not a card", "move it to a [[stage]]")
            continue
        given = {key: value for key, value in table.items() if key not in _OWN_KEYS}
        options, problems = declaration.check(given)
        report.add_all(problems, where)
        read = read_files(options, where, folder, report)
        cards[place] = CardUse(declaration=declaration, options=read, bank=table.get("bank"), tray=table.get("tray"))
    return cards


def check_cards(cards: Mapping[int, CardUse], board: Board, viewing: Viewing, report: Report) -> None:
    """Ask each card about its options on the board, and check that the board has its bank."""
    for place, card in cards.items():
        where = ("pictures", "cards", place)
        if report.has(*where):
            continue
        if card.bank is not None and card.bank >= board.bank_count:
            report.add_all([no_such_bank(card.bank, board.bank_count, (*where, "bank"))])
        try:
            problems = HooksOf(card.declaration, board, card.options, viewing).problems()
        except StageFailure as error:
            problems = [Problem(where=(), what=str(error), action="correct the plugin")]
        name = card.declaration.name
        report.add_all((replace(problem, what=f"card {name!r}: {problem.what}") for problem in problems), where)


def recipe_of_cards(recipe: Recipe, registry: StageRegistry) -> Recipe:
    """Return a recipe for the same board and programmer with the built-in test cards instead of its pictures.

    The first built-in arrangement whose rule accepts the board places them. Raises RecipeError when no arrangement
    serves the board.
    """
    for arrangement in map(registry.get, registry.built_in(Kind.ARRANGEMENT)):
        if arrangement.needs_pictures and not HooksOf(arrangement, recipe.board, {}, recipe.viewing).problems():
            break
    else:
        raise RecipeError("no arrangement places test cards on this board; build it with its pictures")
    cards = map(registry.get, registry.built_in(Kind.CARD))
    return replace(
        recipe,
        name=f"{recipe.name}, test cards",
        files=(),
        cards=tuple(CardUse(declaration=card, options={}) for card in cards),
        chain=(
            StageUse(declaration=arrangement, options={}),
            *(use for use in recipe.chain if use.declaration.kind is Kind.EMISSION),
        ),
        overrides=(),
        patterns=(),
        per_tray=None,
    )
