"""The revisions of a recipe: several boards that share pictures and stages."""

from collections.abc import Mapping
from typing import Any

from ladderlight.errors import Problem, UsageError, nearest_word
from ladderlight.recipe.source.problems import Report, Where, tables
from ladderlight.units.words import joined

_PARTED = ("stage", "picture")
"""Lists of tables that may each be for one revision."""


def revisions_of(data: Mapping[str, Any], asked: str | None = None) -> tuple[str | None, ...]:
    """Return the revisions of a recipe's data, or the one that is asked for; None alone where it has one board only.

    Raises
    ------
    UsageError
        When it has no such revision.
    """
    written = data.get("revisions")
    names = tuple(written) if isinstance(written, dict) else ()
    if asked is None:
        return names or (None,)
    if not names:
        raise UsageError("the recipe has no [revisions]; add them, or name none")
    if asked not in names:
        raise UsageError(f"the recipe has no revision {asked!r}; {nearest_word(asked, names)}")
    return (asked,)


def one_of(names: tuple[str | None, ...]) -> str | None:
    """Return the only revision.

    Raises
    ------
    UsageError
        When there are several.
    """
    if len(names) > 1:
        raise UsageError(f"the recipe has the revisions {joined(list(map(str, names)))}; name one with --revision")
    return names[0]


def of_revision(data: Mapping[str, Any], name: str | None, report: Report) -> dict[str, Any]:
    """Return a recipe's data as a revision has them: with its board, and without the tables of the others."""
    _check(data, report)
    if name is None:
        return dict(data)
    places: dict[Where, Where] = {("board",): ("revisions", name)}
    found = {**data, "board": data["revisions"][name]}
    if not isinstance(found["board"], str):
        del found["board"]
    others = [other for other in data["revisions"] if other != name]
    for key in _PARTED:
        if not isinstance(data.get(key), list):
            continue
        kept = [at for at, table in enumerate(tables(data, key)) if table.get("revision") not in others]
        found[key] = [data[key][at] for at in kept]
        places |= {(key, new): (key, at) for new, at in enumerate(kept)}
    report.places = places
    return found


def _check(data: Mapping[str, Any], report: Report) -> None:
    """Complain of revisions beside a board, and of tables for revisions that there are not."""
    written = data.get("revisions")
    names = list(written) if isinstance(written, dict) else []
    if names and "board" in data:
        what = "the recipe has both a board and [revisions]"
        report.add_as_written(Problem(where=("revisions",), what=what, action="leave one of them out"))
    for key in _PARTED:
        for at, table in enumerate(tables(data, key)):
            named = table.get("revision")
            if not isinstance(named, str) or not named or named in names:
                continue
            what = f"revision is {named!r}, but the recipe has no {'such revision' if names else '[revisions]'}"
            action = nearest_word(named, names) if names else "leave it out"
            report.add_as_written(Problem(where=(key, at, "revision"), what=what, action=action))
