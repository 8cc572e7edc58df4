"""Reading a recipe, or each of its revisions: everything is checked, and all errors are reported at once."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

from pydantic import ValidationError

from ladderlight.board import Board
from ladderlight.board.advice.checks import problems_of as problems_of_board
from ladderlight.colour.viewing import Viewing
from ladderlight.errors import Fault, PluginError, Problem, RecipeError, UsageError, nearest_word
from ladderlight.recipe.boards import as_written, board_of, no_such_bank
from ladderlight.recipe.cards import cards_of, check_cards, recipe_of_cards
from ladderlight.recipe.chain import chain_of, check_matches, file_problem, override_of, read_files
from ladderlight.recipe.files import PictureFile, first_below, idle_exclusions, missing_file, picture_files, source_of
from ladderlight.recipe.language.contradictions import contradictions
from ladderlight.recipe.language.model import CARDS_SUFFIX, Recipe, StageUse
from ladderlight.recipe.language.recovery import may_follow, meaning_of, repaired
from ladderlight.recipe.language.tables import BoardTable, RecipeTable, ViewingTable
from ladderlight.recipe.rules import check_rules
from ladderlight.recipe.source.document import Document, UnreadableError, read_document
from ladderlight.recipe.source.problems import Report, Where, dig, listed, tables
from ladderlight.stages.chain import takes_pictures
from ladderlight.stages.registry import StageRegistry, installed_stages
from ladderlight.stages.validation import as_json, problems_of
from ladderlight.system.paths import is_file, resolved, trouble_with
from ladderlight.units.words import joined

Pictures = Literal["needed", "checked", "ignored", "cards"]
_PARTED = ("stage", "picture")  # lists of tables that may each be for one revision


def load(path: Path, *, pictures: Pictures = "needed", revision: str | None = None) -> Recipe:
    """Read and check a recipe that has one revision, or one revision of it: as :func:`load_revisions`."""
    return load_revisions(path, pictures=pictures, revision=revision, one=True)[0]


def load_revisions(
    path: Path, *, pictures: Pictures = "needed", revision: str | None = None, one: bool = False
) -> tuple[Recipe, ...]:
    """Read and check a recipe: all of its revisions, each as a recipe of its own, or the one that is named.

    Messages show the file as it is given here. With ``pictures="needed"`` there must be pictures, as for a build;
    ``"checked"``: ``[pictures]`` may be left out, as before there are any, but what it names must be there;
    ``"ignored"``: only the board and the chain are wanted; ``"cards"``: all built-in test cards instead, for an output
    folder of their own beside the recipe's. Raises RecipeError with all that is wrong, ``file:line:column: what; what
    to do``, and UsageError when there is no such revision, or there are several and only ``one`` is meant.
    """
    document = read_document(path, str(path))
    names = revisions_of(document.data, revision)
    if one and len(names) > 1:
        listed = joined(list(map(str, names)))
        raise UsageError(f"the recipe has the revisions {listed}; name one with --revision")
    recipes: list[Recipe] = []
    faults: list[Fault] = []
    for name in names:
        try:
            recipes.append(_load(document, path, name, pictures))
        except RecipeError as error:
            faults += error.faults
    if faults:
        raise RecipeError.of(dict.fromkeys(faults))
    return tuple(recipes)


def _load(document: Document, path: Path, revision: str | None, pictures: Pictures) -> Recipe:
    report = Report(recipe=document)
    folder = path.resolve().parent
    raw, board_file = _with_board_file(of_revision(document.data, revision, report), folder, path, report)
    raw = _check_tables(raw, report)
    if revision is not None and "board" not in raw:  # its file is not a text, which is reported
        report.problems = [one for one in report.problems if one.where != () or "'board'" not in one.what]
    board = _board(raw, report)
    wants_files = pictures in ("needed", "checked")
    files = _files(raw, folder, report, wanted=wants_files)
    plugins, registry = _plugins(raw, folder, report)
    links, unknown = chain_of(tables(raw, "stage"), registry, report)
    wanted = takes_pictures([link.declaration for link in links])
    _check_wanted(raw, pictures, report, wanted=wanted)
    _check_trays(raw, report)
    links = [
        replace(link, options=read_files(link.options, ("stage", link.place or 0), folder, report)) for link in links
    ]
    cards = cards_of(raw, folder, registry, report) if wants_files else {}
    # A stage that the chain lacks may be meant by a name in it that is not known.
    unspoken = (*unknown, *registry.names, *registry.uses) if unknown else ()
    written = tables(raw, "picture")
    overrides = [
        override_of(place, table, links, files, unspoken, folder, report) for place, table in enumerate(written)
    ]
    if wants_files:
        check_matches(written, overrides, files, report)
    if board is not None:
        viewing = Viewing() if report.has("viewing") else _viewing(raw)
        check_rules(links, overrides, files, board, viewing, report)
        check_cards(cards, board, viewing, report)
    inputs: dict[str, Sequence[Path | str]] = {
        "recipe": [path],
        "board": board_file,
        "plugin": plugins,
        "file": report.named,
        "picture": [file.place for file in files],
    }
    output = _output(raw, folder, inputs, report, suffix=CARDS_SUFFIX if pictures == "cards" else "")
    if report.problems or report.problems_as_written or report.unreadable:
        raise RecipeError.of(report.faults)
    assert board is not None  # noqa: S101 - without a board there is a problem
    per_tray = dig(raw, "pictures", "per_tray")
    recipe = Recipe(
        path=path.resolve(),
        folder=folder,
        name=dig(raw, "project", "name") or path.resolve().stem,
        output=output if revision is None else output / revision,
        named_output=dig(raw, "project", "output") or "out",
        revision=revision,
        revisions=tuple(document.data.get("revisions", ())),
        board=board,
        files=tuple(files) if wanted else (),
        chain=tuple(StageUse(declaration=link.declaration, options=link.options) for link in links),
        overrides=tuple(overrides),
        cards=tuple(cards.values()) if wanted else (),
        per_tray=board.bank_count if per_tray == "banks" else per_tray,
        viewing=_viewing(raw),
        plugins=tuple(plugins),
        patterns=tuple(dig(raw, "pictures", "files") or ()),
        named=tuple(dict.fromkeys([*board_file, *report.named])),
        cautions=tuple(report.cautions),
    )
    return recipe_of_cards(recipe, registry) if pictures == "cards" else recipe


def stages_of(path: Path) -> tuple[StageRegistry, list[Fault]]:
    """Return all stages, a recipe's own included whatever else is wrong there, and why any cannot be loaded."""
    try:
        document = read_document(path, str(path))
    except UnreadableError as error:
        return installed_stages(), list(error.faults)
    report = Report(recipe=document)
    _, registry = _plugins(document.data, path.resolve().parent, report)
    return registry, report.faults


def _with_board_file(
    data: Mapping[str, Any], folder: Path, path: Path, report: Report
) -> tuple[dict[str, Any], list[Path]]:
    """Return the recipe's data with the board of another file in its place, and that file, if the recipe names one."""
    raw = dict(data)
    named = raw.get("board")
    if not isinstance(named, str):
        return raw, []
    file = [folder / named]
    if not named:
        return raw, file
    if not is_file(folder / named):
        report.add(("board",), *missing_file(folder, named))
        return raw, file
    try:
        document = read_document(folder / named, str(path.parent / named))
    except UnreadableError as error:
        report.unreadable += error.faults
        return raw, file
    inner = document.data.get("board")
    if inner is not None and len(document.data) > 1:
        what = f"{named!r} has a [board] and other tables"
        report.add(("board",), what, "name a file that describes a board and nothing else")
        return raw, file
    report.board = document
    report.board_prefix = ("board",) if isinstance(inner, dict) and len(document.data) == 1 else ()
    return raw | {"board": inner if report.board_prefix else dict(document.data)}, file


def _check_tables(raw: dict[str, Any], report: Report) -> dict[str, Any]:
    """Check keys, types and limits of the whole file. Return its data as they are meant; see ``recovery``."""
    report.add_all(_table_problems(raw))
    meant, report.moves = meaning_of(raw, board_inside=report.board is None)
    if report.moves:
        report.problems_as_written, report.problems = report.problems, _table_problems(meant)
    return meant


def _table_problems(raw: Mapping[str, Any]) -> list[Problem]:
    try:
        RecipeTable.model_validate_json(as_json(raw), strict=True)
    except ValidationError as error:
        return problems_of(error, RecipeTable)
    return []


def _board(raw: Mapping[str, Any], report: Report) -> Board | None:
    """Make the board and check it. With errors in its table, check what does not depend on them."""
    written = raw.get("board")
    if not isinstance(written, dict):
        return None
    report.add_all(contradictions(written), ("board",))
    repair = repaired(written, report.below("board"))
    if not repair.possible:
        return None
    try:
        table = BoardTable.model_validate_json(as_json(repair.raw), strict=True)
    except ValidationError:  # two errors in one place; one is reported
        return None
    board = board_of(table)
    problems = [problem for problem in problems_of_board(board) if not may_follow(problem, repair, board)]
    report.add_all((as_written(problem, table) for problem in problems), ("board",))
    if not repair.doubts("address"):
        _check_banks(raw, board.bank_count, report)
    return None if report.has("board") else board


def _check_wanted(raw: Mapping[str, Any], pictures: Pictures, report: Report, *, wanted: bool) -> None:
    if pictures == "needed" and "pictures" not in raw and wanted:
        report.add((), "the recipe has no pictures", 'add [pictures] with files = ["pictures/*.png"]')
    written = raw.get("pictures")
    if isinstance(written, dict) and not report.has("pictures") and not {"files", "cards"} & set(written):
        report.add(("pictures",), "[pictures] lacks the key 'files'", 'add files = ["pictures/*.png"], or cards')
    if "pictures" in raw and not wanted:
        report.warn("pictures", "no stage takes pictures, so they are not used; leave [pictures] out, or add stages")


def _check_trays(raw: Mapping[str, Any], report: Report) -> None:
    """Complain of trays that are asked for where there is one set of chips only."""
    if dig(raw, "pictures", "per_tray") is not None:
        return
    places: list[tuple[Where, Any]] = [(("picture", at), table) for at, table in enumerate(tables(raw, "picture"))]
    places += [(("pictures", "cards", at), card) for at, card in enumerate(listed(raw, "pictures", "cards"))]
    for where, table in places:
        if isinstance(table, dict) and "tray" in table:
            what = f"tray is {table['tray']}, but all pictures go into one set of chips"
            report.add((*where, "tray"), what, 'add per_tray = "banks" to [pictures]')


def _viewing(raw: Mapping[str, Any]) -> Viewing:
    if "viewing" not in raw:
        return Viewing()
    table = ViewingTable.model_validate_json(as_json(raw["viewing"]), strict=True)
    return Viewing(distance=table.distance, screen_width=table.screen_width)


def _files(raw: Mapping[str, Any], folder: Path, report: Report, *, wanted: bool) -> list[PictureFile]:
    patterns = dig(raw, "pictures", "files")
    if report.has("pictures", "files") or not isinstance(patterns, list):
        return []
    files, problems = picture_files(folder, patterns)
    if wanted:
        report.add_all(problems, ("pictures", "files"))
        for message in idle_exclusions(folder, patterns):
            report.warn("pictures", message)
    return files


def _plugins(raw: Mapping[str, Any], folder: Path, report: Report) -> tuple[list[Path], StageRegistry]:
    registry = installed_stages()
    paths = []
    for index, name in enumerate(listed(raw, "plugins")):
        if not isinstance(name, str) or not name:
            continue
        path = folder / name
        if not is_file(path):
            report.add(("plugins", index), *missing_file(folder, name))
            continue
        if path in paths:
            report.add(("plugins", index), f"plugin {name!r} is named twice", "name it once")
            continue
        try:
            registry = registry.with_files([path])
            paths.append(path)
        except PluginError as error:
            report.add_all([file_problem(error, name, path, ("plugins", index))])
    return paths, registry


def _check_banks(raw: Mapping[str, Any], banks: int, report: Report) -> None:
    for place, picture in enumerate(tables(raw, "picture")):
        bank = picture.get("bank", 0)
        if not report.has("picture", place, "bank") and bank >= banks:
            report.add_all([no_such_bank(bank, banks, ("picture", place, "bank"))])


def _output(
    raw: Mapping[str, Any], folder: Path, inputs: Mapping[str, Sequence[Path | str]], report: Report, *, suffix: str
) -> Path:
    """Return the output folder; a build replaces what is in it, so no input may be there. ``inputs`` are by kind."""
    written = dig(raw, "project", "output")
    output = resolved(folder / (written if isinstance(written, str) else "out"))
    output = output.parent / (output.name + suffix)
    where = ("project", "output")
    if report.has(*where):
        return output
    trouble = trouble_with(output)
    if trouble:
        report.add(where, f"output {written!r} cannot be used ({trouble})", "name another folder")
    elif is_file(output):
        report.add(where, f"output {written!r} is a file", "name a folder")
    elif folder == output or output in folder.parents:
        report.add(where, f"output {written!r} is the recipe's own folder or holds it", 'name a folder such as "out"')
    else:
        for kind, paths in inputs.items():
            inside = first_below(paths, output)
            if inside:
                what = f"{kind} {source_of(folder, inside)!r} lies in the output folder, which a build replaces"
                report.add(where, what, "name another folder")
    return output


def revisions_of(data: Mapping[str, Any], asked: str | None = None) -> tuple[str | None, ...]:
    """Return the revisions of a recipe's data, or the one that is asked for; None alone where it has one board only.

    Raises UsageError when it has no such revision.
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
    for key in (key for key in _PARTED if isinstance(data.get(key), list)):
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
        report.add_as_written(("revisions",), what, "leave one of them out")
    for key in _PARTED:
        for at, table in enumerate(tables(data, key)):
            named = table.get("revision")
            if not isinstance(named, str) or not named or named in names:
                continue
            what = f"revision is {named!r}, but the recipe has no {'such revision' if names else '[revisions]'}"
            action = nearest_word(named, names) if names else "leave it out"
            report.add_as_written((key, at, "revision"), what, action)
