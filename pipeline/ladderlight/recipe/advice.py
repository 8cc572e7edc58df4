"""What a good recipe could still say."""

from __future__ import annotations

from collections.abc import Iterator

from ladderlight.board import Finding
from ladderlight.recipe.model import Recipe

_DISTANCE = "distance"
"""The option with which a stage that takes the viewing lets a recipe say it for that stage alone."""


def advice_on(recipe: Recipe) -> Iterator[Finding]:
    """Say what is missing for figures that the manifest could have."""
    viewing = [use for use in recipe.chain if "Viewing" in use.declaration.takes]
    if recipe.viewing.distance is None and any(_DISTANCE not in use.options for use in viewing):
        yield Finding(
            level="note",
            where="viewing",
            message="the recipe does not say from where the screen is looked at, so the manifest will not say how much "
            'can be seen of the reduction; add [viewing] with distance = "1.5 m" and the screen_width',
        )
