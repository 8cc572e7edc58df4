"""``ladderlight stages``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from ladderlight.stages import StageDeclaration


def stages(
    name: Annotated[str | None, typer.Argument(help="A stage, to see all of its options.", metavar="[NAME]")] = None,
    *,
    json_: Annotated[bool, typer.Option("--json", help="Print one JSON document to stdout.")] = False,
) -> None:
    """List the stages that a recipe can use, or describe one."""
    if name is None:
        _list(json_=json_)
    else:
        _describe(name, json_=json_)


def _list(*, json_: bool) -> None:
    from ladderlight.commands.reporting import print_document, stderr, stdout
    from ladderlight.plugins import installed_stages

    registry = installed_stages()
    summaries = registry.summaries()
    for warning in registry.warnings:
        stderr().print(f"warning: {warning}", markup=False)
    if json_:
        print_document(
            {
                "stages": [
                    {"name": s.name, "kind": str(s.kind or ""), "help": s.help, "plugin": s.plugin, "use": s.use}
                    for s in summaries
                ]
            }
        )
        return
    console = stdout()
    width = max((len(summary.use) for summary in summaries), default=0)
    kind = None
    for summary in summaries:
        if summary.kind is not kind:
            kind = summary.kind
            console.print(f"{kind}: {kind.phrase}" if kind else "unknown", style="bold", markup=False)
        origin = "" if summary.plugin == "builtin" else f"  ({summary.plugin})"
        console.print(f"  {summary.use:{width}}  {summary.help}{origin}", markup=False)
    console.print("\nladderlight stages NAME shows a stage's options.")


def _describe(name: str, *, json_: bool) -> None:
    from ladderlight.commands.reporting import print_document, stdout
    from ladderlight.plugins import installed_stages
    from ladderlight.snippets import stage_table

    declaration = installed_stages().get(name)
    if json_:
        print_document(_document(declaration))
        return
    console = stdout()
    console.print(declaration.name, style="bold", markup=False, end="")
    console.print(f"  {declaration.kind}: {declaration.kind.phrase}", markup=False)
    console.print(declaration.help, markup=False)
    if not declaration.options:
        console.print("It has no options.")
    for option in declaration.options:
        default = "needed" if option.required else f"default {_toml(option.default)}"
        console.print(f"\n  {option.name}", style="bold", markup=False, end="")
        console.print(f"  {option.type_text}; {default}", markup=False)
        if option.option.help:
            console.print(f"      {option.option.help}", markup=False)
    console.print(f"\n{stage_table(declaration)}", markup=False)


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
