"""The likely meaning of a recipe with mistakes, so that all mistakes are found at once.

``meaning_of``: a key that is not known, but near one that is missing, is read as that one; a table at the top that
belongs in the board is read as if it stood there; single and double brackets are read as meant. ``repaired``: values of
the board that are wrong are replaced by harmless ones, and what could follow from these is left out.

Of 34 pairs of typical mistakes 31 are reported in full at once; without the meaning 19, without the repair 25, without
either 7, and without the meaning four single mistakes lead to a second, false error. ``test_pairs`` holds most of them.
"""

import copy
import typing
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from difflib import SequenceMatcher, get_close_matches
from typing import Any

from pydantic import BaseModel

from ladderlight.board import MODES, PARTS, Board
from ladderlight.board.model.lines import Signal
from ladderlight.errors import Problem
from ladderlight.recipe.language.tables import OWN_PART, BoardTable, RecipeTable
from ladderlight.recipe.source.problems import Where, dig
from ladderlight.stages.annotations import core_of, inside, members_of
from ladderlight.stages.validation import KeyName

_CHANNELS = ("red", "green", "blue", "grey")
_SIZE = ("part", "words", "width", "chips", "packing")
_ROOMY = {"words": 1 << 26, "width": 32}


@dataclass(kw_only=True)
class Repair:
    """A board's table with its errors replaced. ``doubtful`` are the keys whose values are not those of the recipe."""

    raw: dict[str, Any]
    doubtful: set[tuple[int | None, str]] = field(default_factory=set)
    """Each key with the index of the memory that it belongs to, None for the board's own."""
    possible: bool = True

    def doubts(self, *keys: str, memory: int | None = None) -> bool:
        """Whether any of some keys is doubtful, in one memory or anywhere."""
        return any(key in keys and memory in (None, index) for index, key in self.doubtful)

    def replace(self, where: Where) -> None:
        """Replace what stands at a path that a problem names."""
        if isinstance(where[-1], KeyName):
            table = dig(self.raw, *where[:-1])
            if isinstance(table, dict):
                table.pop(str(where[-1]), None)
            if where[0] == "ladder":  # what is meant may be a channel, or a line of one
                self.doubtful.add((None, "ladder"))
        elif where[0] == "memory":
            self._replace_in_memory(where)
        elif where[0] == "ladder":
            self._replace_in_ladder(where)
        elif where[0] == "mode" and (near := _near(self.raw.get("mode"), MODES)):
            self.raw["mode"] = near
        else:  # which fill_in puts another in the place of, where the board needs one
            self.raw.pop(str(where[0]), None)
            self.doubtful.add((None, str(where[0])))

    def fill_in(self) -> None:
        """Put something in the place of keys that are missing."""
        for key, value in (("mode", "640x480@60"), ("clock", "25.175 MHz")):
            if key not in self.raw:
                self.raw[key] = value
                self.doubtful.add((None, key))
        ladder = self.raw.get("ladder")
        if not isinstance(ladder, dict) or not any(channel in ladder for channel in _CHANNELS):
            self.possible = False
            return
        ladder.setdefault("supply", "5 V")
        for index, memory in enumerate(self.raw.get("memory", ())):
            stand_ins: dict[str, Any] = {"name": f"memory{index}", "address": ["low"], "data": ["-"]}
            for key in stand_ins.keys() - memory.keys():
                memory[key] = stand_ins[key]
                self.doubtful.add((index, key))
            if ("part" in memory) == ("words" in memory and "width" in memory):
                self._forget_size(index)

    def _replace_in_memory(self, where: Where) -> None:
        memory = dig(self.raw, *where[:2])
        if len(where) < 2 or not isinstance(memory, dict):
            self.possible = False
            return
        index = int(where[1])
        if len(where) == 2:  # a key is missing; see fill_in
            return
        key = str(where[2])
        if key == "part" and (near := _near(memory.get("part"), PARTS)):
            memory["part"] = near
            return
        if key in OWN_PART and "part" in memory:  # one too many: the part has its own
            memory.pop(key, None)
            return
        self.doubtful.add((index, key))
        if key in ("part", "words", "width"):
            self._forget_size(index)
        elif key in ("address", "data") and len(where) == 4:
            memory[key][where[3]] = "low" if key == "address" else "-"
        else:
            memory.pop(key, None)

    def _forget_size(self, index: int) -> None:
        memory = self.raw["memory"][index]
        memory.pop("part", None)
        memory.update(_ROOMY)
        self.doubtful.add((index, "part"))

    def _replace_in_ladder(self, where: Where) -> None:
        ladder = self.raw["ladder"]
        if len(where) == 1 or not isinstance(ladder, dict):
            self.possible &= isinstance(ladder, dict)
            return
        key = str(where[1])
        if key not in _CHANNELS:
            ladder.pop(key, None)
        elif not isinstance(ladder.get(key), dict) and len(where) > 2:  # replaced already
            return
        elif len(where) == 3 and where[2] != "lines":
            ladder[key][where[2]] = "1k"
        elif len(where) == 2 and dig(ladder, key, "lines"):  # r2r is missing
            ladder[key].setdefault("r2r", "1k")
        else:
            ladder.pop(key, None)
            self.doubtful.add((None, "ladder"))


def _near(word: object, known: Iterable[str]) -> str:
    """Return what a word is almost certainly a misspelling of, or nothing."""
    near = get_close_matches(word, known, n=2, cutoff=0.8) if isinstance(word, str) else []
    alike = [SequenceMatcher(None, str(word), other).ratio() for other in near]
    return near[0] if near and alike.count(alike[0]) == 1 else ""


def repaired(raw: Mapping[str, Any], problems: Iterable[Problem]) -> Repair:
    """Replace what is wrong in a board's table. ``where`` of the problems is relative to the table."""
    repair = Repair(raw=copy.deepcopy(dict(raw)))
    # From the end, so that what is dropped moves nothing that is still to be found.
    for where in sorted({problem.where for problem in problems}, key=len, reverse=True):
        if where and repair.possible:
            repair.replace(where)
    if repair.possible:
        repair.fill_in()
    return repair


def may_follow(problem: Problem, repair: Repair, board: Board) -> bool:
    """Whether a problem of the repaired board may only be there because of what was replaced."""
    where = problem.where
    memory = int(where[1]) if where[0] == "memory" and len(where) > 1 else None
    match (where[0], *where[2:]):
        case ("memory",):
            return bool(repair.doubtful)
        case ("memory", "name"):
            return repair.doubts("name")
        case ("memory", "address" | "data" as key):
            return repair.doubts(key, *_SIZE, memory=memory)
        case ("memory", "address", int(pin)):
            lines = board.memories[int(where[1])].address[pin].lines
            if all(line.signal in (Signal.Y, Signal.BANK) for line in lines):
                return repair.doubts("mode", "counters")
            if all(line.signal in (Signal.X, Signal.Y, Signal.BANK) for line in lines):
                return repair.doubts("mode", "clock", "counters")
            return repair.doubts("data", "name", *_SIZE)
        case ("memory", "data", int()):
            # A line that no ladder has may be used in the address of another memory.
            return repair.doubts("ladder") or (len(board.memories) > 1 and repair.doubts("address"))
        case ("memory", *_):
            return repair.doubts("address", *_SIZE, memory=memory)
        case ("ladder", *_):
            return repair.doubts("data", "ladder")
        case ("counters", *_):
            return repair.doubts("mode", "clock", "address")
    return False


def meaning_of(raw: Mapping[str, Any], *, board_inside: bool) -> tuple[dict[str, Any], dict[Where, Where]]:
    """Return a recipe's data as they are meant, and what leads from a meant path to the one that is written.

    ``board_inside``: whether the board stands in the recipe itself.
    """
    moves: dict[Where, Where] = {}
    meant: dict[str, Any] = _meant_table(raw, RecipeTable, (), (), moves)
    board = meant.get("board")
    if board_inside and isinstance(board, dict):
        for key in [key for key in meant if key not in RecipeTable.model_fields and key in BoardTable.model_fields]:
            if key not in board and isinstance(meant[key], dict | list):
                place = ("board", key)
                moves[place] = (key,)
                board[key] = _meant(meant.pop(key), inside(BoardTable, key), place, (key,), moves)
    return meant, moves


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
