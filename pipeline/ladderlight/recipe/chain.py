"""The chain of stages of a recipe, the files that their options name, and what is overridden for some pictures."""

import traceback
from collections.abc import Collection, Iterator, Mapping, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from ladderlight.errors import PluginError, Problem, nearest_word
from ladderlight.flow.pictures import file_name, matching
from ladderlight.recipe.files import PictureFile, missing_file, nearest_file
from ladderlight.recipe.language.model import Override
from ladderlight.recipe.source.problems import Report, Where, dig
from ladderlight.stages.chain import check_chain, takes_pictures
from ladderlight.stages.declaration import StageDeclaration
from ladderlight.stages.kinds import Kind
from ladderlight.stages.registry import BUILT_IN, StageRegistry
from ladderlight.stages.validation import KeyName
from ladderlight.system.frozen import Frozen
from ladderlight.system.paths import is_file, reason_of

_OWN_KEYS = ("match", "bank", "tray", "revision")


class Link(Frozen):
    """One step as the recipe writes it. ``place`` is its index among the recipe's ``[[stage]]``, None for our own."""

    declaration: StageDeclaration
    raw: Mapping[str, Any]
    options: Mapping[str, Any]
    place: int | None


def chain_of(
    tables: Sequence[Mapping[str, Any]], registry: StageRegistry, report: Report
) -> tuple[list[Link], list[str]]:
    """Look up the stages, check options and chain. Return the steps, and the names that are not known, left out."""
    if not tables:
        return list(_defaults(registry.default_chain, registry, report)), []
    links, unknown = [], list[str]()
    for place, table in enumerate(tables):
        name = dig(table, "use")
        if not isinstance(name, str) or not name:
            unknown.append("")
            continue
        raw = {key: value for key, value in table.items() if key not in ("use", "revision")}
        try:
            declaration = registry.get(name)
        except PluginError as error:
            report.add_all([problem_of(error, ("stage", place, "use"))])
            meant = _meant_stage(name, registry)
            if meant is None:
                unknown.append(name)
                continue
            declaration = meant
        others = " or ".join(f'use = "{use}"' for use in registry.others(name))
        if others:
            message = "the built-in stage is used, but an installed plugin has one of this name"
            report.warn(f"stage {name}", f'{message}; write use = "{declaration.qualified}" or {others}')
        options, problems = declaration.check(raw)
        report.add_all(problems, ("stage", place))
        links.append(Link(declaration=declaration, raw=raw, options=options, place=place))
    if unknown:
        return links, unknown
    declarations = [link.declaration for link in links]
    if takes_pictures(declarations) and not any(declared.kind is Kind.SOURCE for declared in declarations):
        links = [*_defaults((registry.usual(Kind.SOURCE),), registry, report), *links]
    for problem in check_chain([link.declaration for link in links], registry.usual):
        at = links[int(problem.where[0])].place if problem.where else None
        where: Where = ("stage", 0) if at is None else ("stage", at, "use")
        report.add(where, problem.what, problem.action)
    return links, []


def _meant_stage(name: str, registry: StageRegistry) -> StageDeclaration | None:
    """Return the stage that a misspelt name is likely to mean, so that its options are checked too."""
    near = get_close_matches(name, registry.uses, n=1) if name not in registry.names else []
    try:
        return registry.get(near[0]) if near else None
    except PluginError:
        return None


def _defaults(names: Sequence[str], registry: StageRegistry, report: Report) -> Iterator[Link]:
    for name in names:
        try:
            declaration = registry.get(f"{BUILT_IN}.{name}")
        except PluginError as error:
            report.add_all([problem_of(error, ())])
            continue
        yield Link(declaration=declaration, raw={}, options={}, place=None)


def problem_of(error: PluginError, where: Where) -> Problem:
    """Return a plugin's error as a problem at a place."""
    what, _, action = str(error).partition("; ")
    return Problem(where=where, what=what, action=action or "correct the plugin, or use another stage")


def file_problem(error: PluginError, name: str, path: Path, where: Where) -> Problem:
    """Return the error of a project's own plugin file as a problem at a place, with the line of the file."""
    what, _, action = str(error).removeprefix(f"{path}: ").removeprefix(f"{path.name}: ").partition("; ")
    cause = error.__cause__
    lines = [
        frame.lineno
        for frame in traceback.extract_tb(getattr(cause, "__traceback__", None))
        if frame.filename == str(path)
    ]
    if isinstance(cause, SyntaxError) and cause.filename == str(path):
        what = f"cannot be loaded: {type(cause).__name__}: {cause.msg}"
        lines = [cause.lineno]
    at = f", line {lines[-1]}," if lines else ""
    return Problem(where=where, what=f"plugin {name!r}{at} {what}", action=action or "correct it there")


def override_of(
    place: int,
    table: Mapping[str, Any],
    links: Sequence[Link],
    files: Sequence[PictureFile],
    unspoken: Collection[str],
    folder: Path,
    report: Report,
) -> Override:
    """Check one ``[[picture]]`` table against the chain, and read the files that it names.

    ``unspoken`` are stages of which nothing can be said.
    """
    where = ("picture", place)
    options: dict[int, Mapping[str, Any]] = {}
    keys: dict[int, str] = {}
    stages = {link.declaration.qualified: link.declaration for link in links if link.declaration.kind.per_picture}
    plain = sorted({declaration.name for declaration in stages.values()})
    names = [*plain, *sorted(stages)]
    for key, changes in table.items():
        if key in _OWN_KEYS or (key in unspoken and key not in names):
            continue
        name = key
        if key not in names:
            what, action = _not_overridable(key, links, plain if "." not in key else names)
            report.add((*where, KeyName(key)), what, action)
            name = next(iter(get_close_matches(key, [*names, *_OWN_KEYS], n=1)), "")
        if name not in names:
            continue
        meant = [declaration for use, declaration in stages.items() if name in (use, declaration.name)]
        if len(meant) > 1:
            ways = " or ".join(f'"{declaration.qualified}"' for declaration in meant)
            what = f"the chain has {len(meant)} stages {key!r}"
            report.add((*where, KeyName(key)), what, f"write {ways} as the key")
            continue
        if not isinstance(changes, dict):
            what = f"{key} must be a table of the stage's options"
            report.add((*where, key), what, f"write {key} = {{ option = value }}")
        else:
            for index, link in enumerate(links):
                if link.declaration.qualified == meant[0].qualified:
                    changed = _changed(changes, link, (*where, key), report)
                    options[index] = {**options.get(index, {}), **changed}
                    keys[index] = key
    matched = matching(str(table.get("match")), [(file, (file_name(file.source), file.source)) for file in files])
    read = {index: read_files(each, (*where, keys[index]), folder, report) for index, each in options.items()}
    return Override(files=frozenset(matched), bank=table.get("bank"), tray=table.get("tray"), options=read, keys=keys)


def check_matches(
    tables: Sequence[Mapping[str, Any]], overrides: Sequence[Override], files: Sequence[PictureFile], report: Report
) -> None:
    """Complain of patterns that fit no picture."""
    for place, (table, override) in enumerate(zip(tables, overrides, strict=True)):
        where = ("picture", place, "match")
        if files and "match" in table and not override.files and not report.has(*where):
            names = [file.source for file in files]
            hint = nearest_file(str(table["match"]), map(file_name, names))
            some = ", ".join(names) if len(names) <= 4 else f"{', '.join(names[:3])} and {len(names) - 3} more"
            report.add(where, f"{str(table['match'])!r} matches no picture", hint or f"the pictures are {some}")


def _changed(changes: Mapping[str, Any], link: Link, where: Where, report: Report) -> Mapping[str, Any]:
    """Check a stage's options with the changes in place; complain of what the changes bring in."""
    values, problems = link.declaration.check({**link.raw, **changes})
    for problem in problems:
        if problem.where and problem.where[0] in changes:
            report.add_all([problem], where)
    return {key: value for key, value in values.items() if key in changes}


def _not_overridable(key: str, links: Sequence[Link], names: Sequence[str]) -> tuple[str, str]:
    found = next((link.declaration for link in links if link.declaration.name == key), None)
    if found is None:
        return f"the chain has no stage {key!r} to override", nearest_word(key, [*names, *_OWN_KEYS])
    what = f"stage {key!r} ({found.kind.phrase}) sees all pictures together and has the same options for all"
    return what, f'set them in its [[stage]] table, use = "{key}"'


def read_files(given: Mapping[str, Any], where: Where, folder: Path, report: Report) -> Mapping[str, Any]:
    """Return options with the content of the files that they name; ``where`` is the options' table."""
    options = dict(given)
    for name, value in given.items():
        if not isinstance(value, bytes):
            continue
        named = value.decode("utf-8")
        report.named.append(folder / named)
        try:
            options[name] = (folder / named).read_bytes()
        except OSError as error:
            what, action = missing_file(folder, named)
            if is_file(folder / named):
                what, action = f"{named!r} cannot be read ({reason_of(error)})", "check its permissions"
            report.add((*where, name), what, action)
    return options
