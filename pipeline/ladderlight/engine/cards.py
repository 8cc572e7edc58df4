"""Test cards: pictures made from the board itself, which stand after the pictures of files."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import count

from ladderlight.board import Board
from ladderlight.engine.coded import CodedPictures
from ladderlight.flow.pictures import CodedPicture, Origin
from ladderlight.recipe import Recipe
from ladderlight.recipe.headers import unique_names
from ladderlight.recipe.language.model import CardUse
from ladderlight.stages.boundary import run_stage


def with_cards(recipe: Recipe, coded: CodedPictures, cards: Mapping[str, CardUse]) -> CodedPictures:
    """Return coded pictures with cards after them, which are given by name."""
    return coded.with_cards(list(_drawn(recipe, [picture.origin for picture in coded.described], cards)))


def card_names(recipe: Recipe) -> list[str]:
    """Name each card of a recipe by its stage, with a number where a picture has that name already."""
    names = set(unique_names(recipe.files).values())
    found = []
    for card in recipe.cards:
        found.append(next(name for name in _numbered(card.declaration.name) if name not in names))
        names.add(found[-1])
    return found


def card_origins(cards: Mapping[str, CardUse], before: Sequence[Origin], board: Board) -> list[Origin]:
    """Return the origins of cards, which stand after those of some frames.

    A card that asks for its origin shows its bank, so that this is fixed here: the next free one, where pictures before
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


def _drawn(recipe: Recipe, before: Sequence[Origin], cards: Mapping[str, CardUse]) -> Iterator[CodedPicture]:
    for card, origin in zip(cards.values(), card_origins(cards, before, recipe.board), strict=True):
        given = {"viewing": recipe.viewing, "origin": origin}
        drawn = run_stage(card.declaration, recipe.board, recipe.board, card.options, f"card {origin.name!r}", **given)
        yield replace(drawn, origin=origin)


def _numbered(name: str) -> Iterator[str]:
    yield name
    yield from (f"{name}~{number}" for number in count(2))
