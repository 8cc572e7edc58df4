"""What the memories hold when a bank shows a test card."""

from dataclasses import replace

import numpy as np

from ladderlight.engine.cards import contents_of_card
from ladderlight.errors import ArrangementError, UsageError, nearest_word
from ladderlight.recipe import Recipe
from ladderlight.recipe.cards import recipe_of_cards
from ladderlight.recipe.language.model import CardUse
from ladderlight.stages.kinds import Kind
from ladderlight.stages.registry import installed_stages
from ladderlight.units.arrays import MemoryWords


def cards_of(recipe: Recipe) -> list[str]:
    """Return the names of all cards that a recipe can use."""
    registry = installed_stages().with_files(recipe.plugins)
    return [summary.name for summary in registry.summaries() if summary.kind is Kind.CARD]


def words_of_card(recipe: Recipe, name: str, bank: int) -> MemoryWords:
    """Return the words of all memories with a card, its options as they are by default, alone in one bank.

    Raises
    ------
    UsageError
        When there is no card of this name.
    ArrangementError
        When the card does not fit the board.
    RecipeError
        When no arrangement serves the board.
    """
    registry = installed_stages().with_files(recipe.plugins)
    cards = cards_of(recipe)
    if name not in cards:
        raise UsageError(f"no card is called {name!r}; {nearest_word(name, cards)}")
    card = CardUse(declaration=registry.get(name), options={}, bank=bank)
    try:
        contents = contents_of_card(replace(recipe_of_cards(recipe, registry), cards=(card,)))
    except ArrangementError as error:
        raise ArrangementError(f"card {name!r} cannot be placed: {error}; choose another card") from None
    return {memory: held.words.astype(np.uint32) for memory, held in contents.memories.items()}
