"""``ladderlight stages``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ladderlight.commands.terminal.options import DEFAULT, JsonOption, QuietOption
from ladderlight.system.paths import is_file

if TYPE_CHECKING:
    from ladderlight.stages.declaration import StageDeclaration
    from ladderlight.stages.registry import StageRegistry


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
    """Register the installed stages, and those of the plugins of the current folder's recipe."""
    from ladderlight.commands.terminal.reporting import stderr
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
    from ladderlight.commands.terminal.reporting import print_document, stdout

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
    kind = None
    for summary in summaries:
        if summary.kind is not kind:
            kind = summary.kind
            console.print(f"{kind}: {kind.phrase}" if kind else "unknown", style="bold")
        origin = "" if summary.plugin == "builtin" else f"  ({summary.plugin})"
        console.print(f"  {summary.use:{width}}  {summary.help}{origin}")
    console.print()
    console.print("ladderlight stages NAME shows a stage's options.")


def _describe(declaration: StageDeclaration, *, json_: bool, quiet: bool) -> None:
    from ladderlight.commands.terminal.reporting import print_document, stdout
    from ladderlight.stages.wording import stage_table

    if json_:
        print_document({"ok": True, **_document(declaration)})
        return
    console = stdout(quiet=quiet)
    console.print(((declaration.name, "bold"), (f"  {declaration.kind}: {declaration.kind.phrase}", "")))
    console.print(declaration.help)
    if not declaration.options:
        console.print("no options")
    for option in declaration.options:
        default = "needed" if option.required else f"default {_toml(option.default)}"
        console.print()
        console.print(((f"  {option.name}", "bold"), (f"  {option.type_text}; {default}", "")))
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


def _toml(value: Any) -> str:
    import json

    return "not set" if value is None else json.dumps(value)
