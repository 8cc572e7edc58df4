"""The recipe: its model, reading it, and its errors with their places."""

from ladderlight.recipe.advice import advice_on
from ladderlight.recipe.language.model import Override, PictureFile, Recipe, StageUse
from ladderlight.recipe.language.schemas import schema
from ladderlight.recipe.loading import load

__all__ = ["Override", "PictureFile", "Recipe", "StageUse", "advice_on", "load", "schema"]
