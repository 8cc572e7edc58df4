"""What a recipe with misspelt or misplaced tables is likely to mean, so that what stands in them is checked as well.

All errors are to be reported at once. A key that is not known, but near one that is missing, is read as that one; a
table at the top that belongs in the board is read as if it stood there; single and double brackets are read as meant.
"""

from __future__ import annotations

import typing
from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel

from ladderlight.recipe.language.tables import BoardTable, RecipeTable
from ladderlight.recipe.source.problems import Where
from ladderlight.stages.annotations import core_of, inside, members_of


@dataclass(kw_only=True)
class Meaning:
    """The data of a recipe as they are meant. ``moves`` leads from a meant path to the one that is written."""

    raw: dict[str, Any] = field(default_factory=dict)
    moves: dict[Where, Where] = field(default_factory=dict)


def meaning_of(raw: Mapping[str, Any], *, board_inside: bool) -> Meaning:
    """Return the meaning of a recipe's data. ``board_inside``: whether the board stands in the recipe itself."""
    meaning = Meaning()
    meaning.raw = _meant_table(raw, RecipeTable, (), (), meaning.moves)
    board = meaning.raw.get("board")
    if board_inside and isinstance(board, dict):
        for key in [
            key for key in meaning.raw if key not in RecipeTable.model_fields and key in BoardTable.model_fields
        ]:
            if key not in board and isinstance(meaning.raw[key], dict | list):
                place = ("board", key)
                meaning.moves[place] = (key,)
                board[key] = _meant(meaning.raw.pop(key), inside(BoardTable, key), place, (key,), meaning.moves)
    return meaning


def _meant(value: object, annotation: object, meant: Where, written: Where, moves: dict[Where, Where]) -> object:
    members = members_of(core_of(annotation))
    if any(typing.get_origin(member) is dict for member in members):  # keys of the writer's own
        return value
    model = next((member for member in members if hasattr(member, "model_fields")), None)
    if isinstance(model, type) and issubclass(model, BaseModel):
        if isinstance(value, list) and len(value) == 1 and isinstance(value[0], dict):
            value, written = value[0], (*written, 0)
            moves[meant] = written
        return _meant_table(value, model, meant, written, moves) if isinstance(value, dict) else value
    entry = inside(annotation, 0)
    if not hasattr(core_of(entry), "model_fields"):
        return value
    if isinstance(value, dict):
        moves[(*meant, 0)] = written
        return [_meant(value, entry, (*meant, 0), written, moves)]
    if isinstance(value, list):
        return [_meant(item, entry, (*meant, i), (*written, i), moves) for i, item in enumerate(value)]
    return value


def _meant_table(
    table: Mapping[str, object], model: type[BaseModel], meant: Where, written: Where, moves: dict[Where, Where]
) -> dict[str, object]:
    fields = model.model_fields
    result: dict[str, object] = {}
    for key, value in table.items():
        name = key
        if key not in fields and model.model_config.get("extra") == "forbid":
            near = get_close_matches(key, [name for name in fields if name not in table and name not in result], n=1)
            if near:
                name = near[0]
                moves[(*meant, name)] = (*written, key)
        if name in fields:
            value = _meant(value, inside(model, name), (*meant, name), (*written, key), moves)
        result[name] = value
    return result
