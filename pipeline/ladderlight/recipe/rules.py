"""What stages say of their options together and on the board, before any picture is opened: rules and advice."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from ladderlight.board import Board, Finding
from ladderlight.colour.viewing import Viewing
from ladderlight.errors import StageFailure
from ladderlight.flow.pictures import file_name, matching
from ladderlight.recipe.chain import Link
from ladderlight.recipe.files import PictureFile
from ladderlight.recipe.language.model import Override, Recipe
from ladderlight.recipe.source.problems import Report, Where
from ladderlight.stages.boundary import HooksOf


def check_rules(
    links: Sequence[Link],
    overrides: Sequence[Override],
    files: Sequence[PictureFile],
    board: Board,
    viewing: Viewing,
    report: Report,
) -> None:
    """Ask each stage about its options as they are for each picture; those that are wrong by themselves are left out.

    Options of a stage that sees one picture at a time count as they are for the pictures: what a ``[[stage]]`` leaves
    open, ``[[picture]]`` tables may settle for all of them.
    """
    for index, link in enumerate(links):
        name = link.declaration.name
        if link.place is not None and report.has("stage", link.place):
            continue
        if link.place is None and not files:  # a board alone, for which the chain is not written yet
            continue
        for some in _combinations(index, overrides, files):
            keys = {place: overrides[place].keys.get(index, name) for place in some}
            if any(report.has("picture", *key) for key in keys.items()):
                continue
            changes: dict[str, int] = {option: place for place in some for option in overrides[place].options[index]}
            options = dict(link.options)
            for place in some:
                options |= overrides[place].options[index]
            try:
                problems = HooksOf(link.declaration, board, options, viewing).problems()
            except StageFailure as error:
                report.add(_where((), link, changes, keys, some), str(error), "correct the plugin")
                continue
            for problem in problems:
                where = _where(problem.where, link, changes, keys, some)
                report.add(where, f"stage {name!r}: {problem.what}", problem.action)


def _combinations(index: int, overrides: Sequence[Override], files: Sequence[PictureFile]) -> list[tuple[int, ...]]:
    """Return the overrides of a stage that meet in some picture, in their order, each combination once."""
    touching = [place for place, override in enumerate(overrides) if index in override.options]
    if not touching:
        return [()]
    met = (tuple(place for place in touching if file in overrides[place].files) for file in files)
    return list(dict.fromkeys(met))


def _where(told: Where, link: Link, changes: Mapping[str, int], keys: Mapping[int, str], some: Sequence[int]) -> Where:
    """Lead to the option where it is written: in the picture's table that has changed it, else in the stage's."""
    option = told[0] if told else None
    place = changes.get(str(option), some[-1] if some and option not in link.raw else None)
    if place is not None:
        return ("picture", place, keys[place], *told)
    if link.place is None:
        return ("stage", 0)
    return ("stage", link.place, *(told if option in link.raw else ("use",)))


def advice_on(recipe: Recipe) -> Iterator[Finding]:
    """Yield the advice of each stage, on its options as its table has them and as they are for frames of an animation.

    Advice that several stages or pictures have in common is given once.
    """
    shown = (HooksOf(use.declaration, recipe.board, use.options, recipe.viewing).animation() for use in recipe.chain)
    named = [(file, (file_name(file.source), Path(file.source).stem)) for file in recipe.files]
    frames = [file for animation in shown if animation for file in matching(animation.match, named)]
    found: dict[Finding, None] = {}
    for at, use in enumerate(recipe.chain):
        cases = [(use.options, False)]
        if use.declaration.kind.per_picture:
            cases += [(recipe.options_for(file, at), True) for file in frames]
        for options, animated in cases:
            advice = HooksOf(use.declaration, recipe.board, options, recipe.viewing).advice(animated=animated)
            found |= dict.fromkeys(advice)
    yield from found
