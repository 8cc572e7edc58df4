"""``ladderlight stages``, ``ladderlight schema`` and ``ladderlight guide``, which describe the program itself."""

from __future__ import annotations

import json
from itertools import groupby
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ladderlight.commands.terminal.arguments import DEFAULT
from ladderlight.commands.terminal.options import JsonOption, QuietOption
from ladderlight.commands.terminal.reporting import print_document, stderr, stdout
from ladderlight.errors import UsageError, nearest_word
from ladderlight.system.paths import is_file

if TYPE_CHECKING:
    from ladderlight.stages.declaration import StageDeclaration
    from ladderlight.stages.registry import StageRegistry

GUIDES = {
    "recipe": "recipes/README.md",
    "stages": "plugins/README.md",
    "changes": "recipes/CHANGELOG.md",
    "readme": "README.md",
    "developers": "DEVELOPERS.md",
}
"""The guides by name, as paths in the project's tree and in the folder of guides of an installed package."""


def guide(
    name: Annotated[str | None, typer.Argument(help=f"One of {', '.join(GUIDES)}.", metavar="[NAME]")] = None,
    *,
    open_: Annotated[bool, typer.Option("--open", help="Open the guide in a browser too.")] = False,
    quiet: QuietOption = False,
) -> None:
    """Print where the guides are, or open one."""
    import webbrowser

    if name is not None and name not in GUIDES:
        raise UsageError(f"there is no guide {name!r}; {nearest_word(name, GUIDES)}")
    console = stdout(quiet=quiet)
    if name is None and not open_:
        for each in GUIDES:
            console.print(f"{each:<{max(map(len, GUIDES))}}  {path_of(each)}", whole=[str(path_of(each))])
        return
    path = path_of(name or next(iter(GUIDES)))
    console.print(path)
    if open_ and not webbrowser.open(path.as_uri()):
        stderr(quiet=quiet).print("no browser was found; open the file above")


def path_of(name: str) -> Path:
    """Return the path of a guide, in the installed package or the source. Raises UsageError when it is in neither."""
    package = Path(__file__).resolve().parents[1]
    places = [folder / GUIDES[name] for folder in (package / "guides", package.parents[1])]
    if not (found := list(filter(is_file, places))):
        raise UsageError("there is no such file; install Ladderlight again", where=str(places[0]))
    return found[0]


def schema(*, quiet: QuietOption = False) -> None:  # noqa: ARG001 - it prints nothing but its document
    """Print the JSON schema of recipes, for editors.

    The stages of all installed plugins are included.
    """
    from ladderlight.recipe.language.schemas import schema as recipe_schema

    print_document(recipe_schema())


def stages(
    name: Annotated[str | None, typer.Argument(help="A stage whose options to list.", metavar="[NAME]")] = None,
    *,
    json_: JsonOption = False,
    quiet: QuietOption = False,
) -> None:
    """List the stages that a recipe can use, or describe one.

    Stages of the plugins that recipe.toml in the current folder names are included.
    """
    registry = _registry(quiet=quiet)
    if name is None:
        _list(registry, json_=json_, quiet=quiet)
    else:
        _describe(registry.get(name), json_=json_, quiet=quiet)


def _registry(*, quiet: bool) -> StageRegistry:
    from ladderlight.stages.registry import installed_stages

    registry = installed_stages()
    warnings = list(registry.warnings)
    if is_file(Path(DEFAULT)):
        from ladderlight.recipe.loading import stages_of

        registry, faults = stages_of(Path(DEFAULT))
        warnings += map(str, faults)
    for warning in warnings:
        stderr(quiet=quiet).print(f"warning: {warning}")
    return registry


def _list(registry: StageRegistry, *, json_: bool, quiet: bool) -> None:
    summaries = registry.summaries()
    if json_:
        listed = [
            {"name": s.name, "kind": str(s.kind or ""), "help": s.help, "plugin": s.plugin, "use": s.use}
            for s in summaries
        ]
        print_document({"ok": True, "stages": listed})
        return
    console = stdout(quiet=quiet)
    width = max((len(summary.use) for summary in summaries), default=0)
    for kind, found in groupby(summaries, attrgetter("kind")):
        console.print(f"{kind}: {kind.phrase}" if kind else "unknown", style="bold")
        for summary in found:
            origin = "" if summary.plugin == "builtin" else f"  ({summary.plugin})"
            console.print(f"  {summary.use:{width}}  {summary.help}{origin}")
    console.print("", "ladderlight stages NAME shows a stage's options.")


def _describe(declaration: StageDeclaration, *, json_: bool, quiet: bool) -> None:
    from ladderlight.stages.wording import stage_table

    if json_:
        print_document({"ok": True, **_document(declaration)})
        return
    console = stdout(quiet=quiet)
    title = ((declaration.name, "bold"), (f"  {declaration.kind}: {declaration.kind.phrase}", ""))
    console.print(title, declaration.help)
    if not declaration.options:
        console.print("no options")
    for option in declaration.options:
        default = "not set" if option.default is None else json.dumps(option.default)
        given = "needed" if option.required else f"default {default}"
        console.print("", ((f"  {option.name}", "bold"), (f"  {option.type_text}; {given}", "")))
        if option.option.help:
            console.print(f"      {option.option.help}")
    console.print()
    for line in stage_table(declaration).splitlines():
        console.print(line, whole=[line])


def _document(declaration: StageDeclaration) -> dict[str, Any]:
    return {
        "name": declaration.name,
        "kind": str(declaration.kind),
        "help": declaration.help,
        "plugin": declaration.plugin,
        "example": {"use": declaration.name, **declaration.example.options},
        "options": [
            {
                "name": option.name,
                "type": option.type_text,
                "required": option.required,
                "default": option.default,
                "help": option.option.help,
            }
            for option in declaration.options
        ],
    }
