"""What a good recipe could still say, by its stages."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from ladderlight.board import Finding
from ladderlight.flow.matching import file_name, matching
from ladderlight.recipe.files import PictureFile
from ladderlight.recipe.language.model import Recipe
from ladderlight.stages.boundary import advice_of, animation_of


def advice_on(recipe: Recipe) -> Iterator[Finding]:
    """Yield the advice of each stage, on its options as its table has them and as they are for frames of an animation.

    Advice that several stages or pictures have in common is given once.
    """
    frames = list(_frames(recipe))
    found: dict[Finding, None] = {}
    for at, use in enumerate(recipe.chain):
        cases = [(use.options, False)]
        if use.declaration.kind.per_picture:
            cases += [(recipe.options_for(file, at), True) for file in frames]
        for options, animated in cases:
            advice = advice_of(use.declaration, recipe.board, options, animated=animated, viewing=recipe.viewing)
            found |= dict.fromkeys(advice)
    yield from found


def _frames(recipe: Recipe) -> Iterator[PictureFile]:
    for use in recipe.chain:
        animation = animation_of(use.declaration, recipe.board, use.options, viewing=recipe.viewing)
        if animation:
            yield from matching(
                animation.match, recipe.files, lambda file: (file_name(file.source), Path(file.source).stem)
            )
