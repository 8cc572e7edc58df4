"""What the arguments of several commands mean: the recipe that is meant, and the files beside it."""

import os
from collections.abc import Sequence
from pathlib import Path

from ladderlight.errors import UsageError
from ladderlight.system.paths import trouble_with

DEFAULT = "recipe.toml"
"""The recipe of a folder."""


def recipe_path(given: Path | None) -> Path:
    """Return the recipe that is meant, by default that of the current folder. Raises UsageError when that has none."""
    if given is None:
        path = Path(DEFAULT)
        if not os.path.lexists(path) and not trouble_with(path):
            raise UsageError(f"there is no {DEFAULT} in this folder; name a recipe, or change to the folder of one")
        return path
    return given / DEFAULT if _holds_recipe(given) else given


def recipe_and_others(first: Path | None, others: Sequence[str] | None) -> tuple[Path, list[str]]:
    """Split arguments of which the first may be a recipe: it is one if it ends in .toml or is a folder with a recipe.

    Return the recipe, that of the current folder if the first argument is none, and the other arguments. Raises
    UsageError when no recipe is given and the current folder has none.
    """
    if first is None or first.suffix.casefold() == ".toml" or _holds_recipe(first):
        return recipe_path(first), list(others or ())
    return recipe_path(None), [str(first), *(others or ())]


def recipe_and_dumps(first: Path | None, others: Sequence[str] | None) -> tuple[Path, list[Path]]:
    """Split arguments as :func:`recipe_and_others`, with one dump or more. Raises UsageError when either is missing."""
    recipe, dumps = recipe_and_others(first, others)
    if not dumps:
        raise UsageError("no dump is given; name the files that were read out of the chips, after the recipe")
    return recipe, list(map(Path, dumps))


def refuse_ending(path: Path, endings: Sequence[str]) -> None:
    """Check the ending of a file by the format that is written. Raises UsageError when it has another, or none."""
    if path.suffix.casefold() not in endings:
        raise UsageError(f"does not end in {endings[0]}; choose a name that does", where=path)


def _holds_recipe(path: Path) -> bool:
    return os.path.lexists(path / DEFAULT)
