"""The recipe: its model, reading it, and its errors with their places."""

from ladderlight.recipe.advice import advice_on
from ladderlight.recipe.loading import load
from ladderlight.recipe.model import Override, PictureFile, Recipe, StageUse
from ladderlight.recipe.schemas import schema

__all__ = ["Override", "PictureFile", "Recipe", "StageUse", "advice_on", "load", "schema"]
