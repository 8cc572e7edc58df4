"""What a good recipe could still say."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from ladderlight.board import Finding
from ladderlight.flow.matching import file_name, matching
from ladderlight.recipe.language.model import Recipe
from ladderlight.stages.boundary import animation_of

_DISTANCE = "distance"
"""The option with which a stage that takes the viewing lets a recipe say it for that stage alone."""


_SHARE, _CODES = "share", "codes"
"""Options of a stage that chooses colours: ``"all"`` for one choice for all pictures, and the choice made by hand."""


def advice_on(recipe: Recipe) -> Iterator[Finding]:
    """Say what is missing for figures that the manifest could have, and for frames that do not flicker."""
    viewing = [use for use in recipe.chain if "Viewing" in use.declaration.takes]
    if recipe.viewing.distance is None and any(use.options.get(_DISTANCE) is None for use in viewing):
        yield Finding(
            level="note",
            where="viewing",
            message="the recipe does not say from where the screen is looked at, so the manifest will not say how much "
            'can be seen of the reduction; add [viewing] with distance = "1.5 m" and the screen_width',
        )
    for at, use in enumerate(recipe.chain):
        if _SHARE in (option.name for option in use.declaration.options) and _chooses_by_frame(recipe, at):
            yield Finding(
                level="note",
                where=use.declaration.name,
                message="each frame of the animation gets colours of its own, so what stands still may change colour "
                f'from frame to frame; add {_SHARE} = "all"',
            )


def _chooses_by_frame(recipe: Recipe, at: int) -> bool:
    """Whether a stage that chooses colours does so for single frames of an animation."""
    animations = (animation_of(use.declaration, use.options) for use in recipe.chain)
    matches = [animation.match for animation in animations if animation]
    frames = (
        file
        for match in matches
        for file in matching(match, recipe.files, lambda file: (file_name(file.source), Path(file.source).stem))
    )
    options = (recipe.options_for(file, at) for file in frames)
    return any(given.get(_SHARE) != "all" and given.get(_CODES) is None for given in options)
