"""Which chains of stages make sense: each kind after those before it, and every kind that is needed."""

from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise

from ladderlight.errors import Problem
from ladderlight.stages.declaration import StageDeclaration
from ladderlight.stages.kinds import Kind


def check_chain(chain: Sequence[StageDeclaration], usual: Callable[[Kind], str]) -> list[Problem]:
    """Check that each stage can follow the one before, and that the chain goes from files to files.

    ``usual`` names a stage to add of a kind. ``where`` of a problem is ``(index of the stage,)``, or empty for the
    chain as a whole.
    """
    problems = []
    for index, card in enumerate(chain):
        if card.kind is Kind.CARD:
            what = f"stage {card.name!r} ({card.kind.phrase}) is a test card and belongs in no chain"
            problems.append(Problem(where=(index,), what=what, action=f'write cards = ["{card.name}"] in [pictures]'))
    if problems:
        return problems
    repeatable = {Kind.PICTURE, Kind.CODED, Kind.ARRANGEMENT, Kind.EMISSION}
    for index, (before, after) in enumerate(pairwise(chain), start=1):
        if after.kind.rank < before.kind.rank or (after.kind is before.kind and after.kind not in repeatable):
            what = f"stage {after.name!r} ({after.kind.phrase}) cannot follow {before.name!r} ({before.kind.phrase})"
            same = after.kind is before.kind
            action = "keep one of the two" if same else f"put {after.name!r} before {before.name!r}"
            problems.append(Problem(where=(index,), what=what, action=action))
    present = {declaration.kind for declaration in chain}
    problems += [
        Problem(where=(), what=f"the chain has no stage from {kind.phrase}", action=f'add use = "{usual(kind)}"')
        for kind in (Kind.SOURCE, Kind.REDUCTION, Kind.ARRANGEMENT, Kind.EMISSION)
        if kind not in present and (kind.rank > Kind.CODED.rank or takes_pictures(chain))
    ]
    return problems


def takes_pictures(chain: Iterable[StageDeclaration]) -> bool:
    """Whether a chain is for pictures: a stage treats them, or an arrangement places them, or nothing is arranged."""
    stages = list(chain)
    arrangements = [stage for stage in stages if stage.kind is Kind.ARRANGEMENT]
    placed = any(stage.needs_pictures for stage in arrangements) or not arrangements
    return placed or any(stage.kind.per_picture for stage in stages)
