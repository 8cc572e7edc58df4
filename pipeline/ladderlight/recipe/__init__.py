"""The recipe: its model, reading it, and its errors with their places. The names are loaded on first use."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ladderlight.recipe.files import PictureFile
    from ladderlight.recipe.language.model import Override, Recipe, StageUse
    from ladderlight.recipe.language.schemas import schema
    from ladderlight.recipe.loading import load, load_revisions
    from ladderlight.recipe.rules import advice_on

__all__ = ["Override", "PictureFile", "Recipe", "StageUse", "advice_on", "load", "load_revisions", "schema"]
_HOMES = {
    "PictureFile": "files",
    "advice_on": "rules",
    "load": "loading",
    "load_revisions": "loading",
    "schema": "language.schemas",
}


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES.get(name, 'language.model')}"), name)
