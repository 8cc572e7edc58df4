"""What a build is made from, looked at before it begins; what the cache knows of the files spares reading them."""

from __future__ import annotations

import json
from collections.abc import Mapping

from ladderlight.cache.marks import Seen, as_json, from_json
from ladderlight.cache.store import Cache
from ladderlight.recipe import Recipe
from ladderlight.recipe.inputs import input_files, seen_inputs
from ladderlight.stages.code import code_files, loads_by_name
from ladderlight.system.value import digest_of
from ladderlight.workspace.burned import FILE
from ladderlight.workspace.up_to_date import Account


def known_inputs(recipe: Recipe, cache: Cache | None) -> dict[str, Seen]:
    """Look at the files of a recipe, by their names. Those that are as the cache knows them are not read.

    Raises
    ------
    BuildError
        When one cannot be read.
    """
    if cache is None:
        return seen_inputs(recipe)
    key = digest_of(("files of a recipe", recipe.path, recipe.revision))
    known = _known(cache, key)
    seen = seen_inputs(recipe, known)
    if seen != known:
        cache.put(key, json.dumps(as_json(seen)).encode())
    return seen


def account_of(recipe: Recipe, seen: Mapping[str, Seen], *, began: int) -> Account | None:
    """Note what a build is made from: its inputs, the code of its stages, the record of burned chips.

    Return None when one of them cannot be read, or is not known before it is loaded.
    """
    stages = [use.declaration for use in (*recipe.chain, *recipe.cards)]
    if any(map(loads_by_name, stages)):
        return None
    inputs = {path: seen[name] for name, path in input_files(recipe).items()}
    try:
        others = (*code_files(stages), recipe.folder / FILE)
        return Account.of(recipe, began=began, inputs=inputs, others=others)
    except OSError:
        return None


def _known(cache: Cache, key: str) -> dict[str, Seen]:
    data = cache.get(key)
    try:
        return from_json(json.loads(data)) if data is not None else {}
    except (ValueError, TypeError, AttributeError):
        return {}
