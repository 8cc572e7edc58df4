"""What the memories hold when a bank shows a test card."""

from __future__ import annotations

import numpy as np

from ladderlight.board import Conflict, Placement
from ladderlight.board.scanning.lookup import LookupFull
from ladderlight.errors import ArrangementError, UsageError, nearest_word
from ladderlight.flow.pictures import Origin
from ladderlight.recipe import Recipe
from ladderlight.stages.boundary import run_stage
from ladderlight.stages.kinds import Kind
from ladderlight.stages.registry import installed_stages
from ladderlight.units.arrays import MemoryWords


def cards_of(recipe: Recipe) -> list[str]:
    """Return the names of all cards that a recipe can use."""
    registry = installed_stages().with_files(recipe.plugins)
    return [summary.name for summary in registry.summaries() if summary.kind is Kind.CARD]


def words_of_card(recipe: Recipe, name: str, bank: int) -> MemoryWords:
    """Return the words of all memories with a card, its options as they are by default, in one bank.

    Raises
    ------
    UsageError
        When there is no card of this name.
    ArrangementError
        When the board's memories do not hold pictures, or not this many colours.
    """
    registry = installed_stages().with_files(recipe.plugins)
    cards = cards_of(recipe)
    if name not in cards:
        raise UsageError(f"no card is called {name!r}; {nearest_word(name, cards)}")
    declaration, board = registry.get(name), recipe.board
    origin = Origin(name=name, source=name, bank=bank)
    given = {"viewing": recipe.viewing, "origin": origin}
    drawn = run_stage(declaration, board, board, declaration.complete({}), f"card {name!r}", **given)
    placement = Placement(board=board)
    try:
        placement.put_codes(drawn.codes, bank=bank, picture=name)
    except NotImplementedError as error:
        message = f"card {name!r} cannot be placed: other memories address {error}; name a bank of the last build"
        raise ArrangementError(message) from None
    except (Conflict, LookupFull) as error:
        raise ArrangementError(f"card {name!r} cannot be placed: {error}; choose another card") from None
    return {memory: words.astype(np.uint32) for memory, (words, _) in placement.words().items()}
