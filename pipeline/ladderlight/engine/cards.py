"""Test cards: pictures made from the board itself, which stand after the pictures of files."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import count

from ladderlight.flow.pictures import CodedPicture, Origin
from ladderlight.recipe import Recipe
from ladderlight.stages.boundary import run_stage


def with_cards(recipe: Recipe, coded: Sequence[CodedPicture]) -> list[CodedPicture]:
    """Return the coded pictures of all files with a recipe's test cards after them."""
    return [*coded, *_drawn(recipe, [picture.origin for picture in coded])]


def card_origins(recipe: Recipe, before: Sequence[Origin]) -> list[Origin]:
    """Return the origins of a recipe's cards, which stand after those of some frames.

    A card has the name of its stage, with a number where a picture has that name already. One that asks for its origin
    shows its bank, so that this is fixed here: the next free one, where pictures before it take one each.
    """
    names = {origin.name for origin in before}
    banks = [origin.bank for origin in before] + [card.bank for card in recipe.cards]
    free = (bank for bank in count() if bank not in banks)
    for _ in (origin for origin in before if origin.bank is None):
        next(free)
    found = []
    for card in recipe.cards:
        stage = card.declaration.name
        name = next(name for name in _numbered(stage) if name not in names)
        names.add(name)
        bank = next(free) if card.bank is None else card.bank
        fixed = card.bank is not None or ("Origin" in card.declaration.takes and bank < recipe.board.bank_count)
        found.append(Origin(name=name, source=stage, bank=bank if fixed else None))
    return found


def _drawn(recipe: Recipe, before: Sequence[Origin]) -> Iterator[CodedPicture]:
    for card, origin in zip(recipe.cards, card_origins(recipe, before), strict=True):
        given = {"viewing": recipe.viewing, "origin": origin}
        drawn = run_stage(card.declaration, recipe.board, recipe.board, card.options, f"card {origin.name!r}", **given)
        yield replace(drawn, origin=origin)


def _numbered(name: str) -> Iterator[str]:
    yield name
    yield from (f"{name}~{number}" for number in count(2))
