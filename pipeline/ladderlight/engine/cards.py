"""Test cards: pictures made from the board itself, which stand after the pictures of files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import count
from typing import TYPE_CHECKING

import numpy as np

from ladderlight.board import Board, Finding
from ladderlight.board.scanning.scan import scan
from ladderlight.engine.plan import Plan
from ladderlight.engine.runner import Chain
from ladderlight.errors import ArrangementError, Fault
from ladderlight.flow.pictures import CodedPicture, Contents, Origin
from ladderlight.recipe import Recipe
from ladderlight.recipe.language.model import CardUse
from ladderlight.stages.boundary import HooksOf, run_stage
from ladderlight.stages.contract import refuse
from ladderlight.units.words import joined

if TYPE_CHECKING:
    from ladderlight.engine.coded import CodedPictures


def with_cards(recipe: Recipe, coded: CodedPictures, cards: Mapping[str, CardUse]) -> CodedPictures:
    """Return coded pictures with cards after them, which are given by name."""
    if not cards:
        return coded
    origins = card_origins(cards, [picture.origin for picture in coded.described], recipe.board)
    return coded.with_cards([_draw(recipe, card, origin) for card, origin in zip(cards.values(), origins, strict=True)])


def card_origins(cards: Mapping[str, CardUse], before: Sequence[Origin], board: Board) -> list[Origin]:
    """Return the origins of cards, which stand after those of some frames.

    A card that takes its origin shows its bank, so that this is fixed here: the next free one, where pictures before
    it take one each.
    """
    banks = [origin.bank for origin in before] + [card.bank for card in cards.values()]
    free = (bank for bank in count() if bank not in banks)
    for _ in (origin for origin in before if origin.bank is None):
        next(free)
    found = []
    for name, card in cards.items():
        bank = next(free) if card.bank is None else card.bank
        fixed = card.bank is not None or ("Origin" in card.declaration.takes and bank < board.bank_count)
        found.append(Origin(name=name, source=card.declaration.name, bank=bank if fixed else None))
    return found


def fitting_cards(recipe: Recipe) -> tuple[Recipe, list[Finding]]:
    """Return a recipe of cards alone with those that the board can show together, and notes on the others.

    Raises ArrangementError when no card fits.
    """
    kept: list[CardUse] = []
    coded: list[CodedPicture] = []
    left: list[Finding] = []
    for place, card in enumerate(recipe.cards):
        if len(kept) == recipe.board.bank_count:
            names = joined([other.declaration.name for other in recipe.cards[place:]])
            message = f"no bank is left for {names}; list them under cards in [pictures] to build them"
            left.append(Finding(level="note", where="cards", message=message))
            break
        some = replace(recipe, cards=(*kept, card))
        try:
            drawn, _ = _placed(some, coded)
        except ArrangementError as error:
            message = f"left out: {error}"
            left.append(Finding(level="note", where=f"card {card.declaration.name}", message=message))
        else:
            kept.append(card)
            coded = drawn
    if not kept:
        raise ArrangementError.of(Fault(where=one.where, message=one.message) for one in left)
    return replace(recipe, cards=tuple(kept)), left


def contents_of_card(recipe: Recipe) -> Contents:
    """Return what the memories hold where a recipe has one card alone.

    Raises ArrangementError when the card does not fit the board.
    """
    return _placed(recipe, [])[1]


def _placed(recipe: Recipe, before: Sequence[CodedPicture]) -> tuple[list[CodedPicture], Contents]:
    """Draw a recipe's last card, after those drawn before, and arrange all of them."""
    card = recipe.cards[-1]
    refuse(HooksOf(card.declaration, recipe.board, card.options, recipe.viewing).problems(), ArrangementError)
    origin = card_origins(Plan(recipe=recipe).cards, [], recipe.board)[-1]
    drawn = [*before, _draw(recipe, card, origin)]
    contents = Chain(recipe=recipe).arrange(drawn)
    if not _shown(recipe.board, contents, drawn):
        beside = " beside those of the cards before it" if before else " into the board's memories"
        raise ArrangementError(f"its tiles or colours do not fit{beside}")
    return drawn, contents


def _shown(board: Board, contents: Contents, coded: Sequence[CodedPicture]) -> bool:
    """Whether the board shows the pictures as they are; an arrangement may merge tiles and colours."""
    words = {name: memory.words for name, memory in contents.memories.items()}
    x, y = board.x_grid.samples[None, :], board.y_grid.samples[:, None]
    return all(
        np.array_equal(scan(board, words, x, y, placed.bank).codes, picture.codes)
        for picture, placed in zip(coded, contents.pictures, strict=True)
    )


def _draw(recipe: Recipe, card: CardUse, origin: Origin) -> CodedPicture:
    given = {"viewing": recipe.viewing, "origin": origin}
    board, what = recipe.board, f"card {origin.name!r}"
    drawn: CodedPicture = run_stage(card.declaration, board, board, card.options, what, **given)
    return replace(drawn, origin=origin)
