"""The stage reference, generated from the stages' declarations.

``python -m ladderlight.reference plugins/README.md`` makes it anew.
"""

from __future__ import annotations

import inspect
import json
import sys
from collections.abc import Iterator
from pathlib import Path

from ladderlight.plugins import StageRegistry, installed_stages
from ladderlight.stages import Kind, OptionDeclaration, StageDeclaration

_INTRODUCTION = """# The stages

A recipe's chain is a list of stages. Each takes what the one before gives, in the order of the kinds below. This page is
generated from the stages' own declarations by `python -m ladderlight.reference plugins/README.md`; the command
`ladderlight stages NAME` shows the same.
"""


def reference(registry: StageRegistry, plugin: str = "builtin") -> str:
    """Write the reference page of one plugin's stages, in Markdown."""
    declarations = [registry.get(summary.name) for summary in registry.summaries() if summary.plugin == plugin]
    lines = [_INTRODUCTION]
    for kind in Kind:
        of_kind = [declaration for declaration in declarations if declaration.kind is kind]
        if of_kind:
            lines.append(f"## {str(kind).capitalize()}: {kind.phrase}\n")
            for declaration in of_kind:
                lines += _section(declaration)
    return "\n".join(lines)


def _section(declaration: StageDeclaration) -> Iterator[str]:
    yield f"### `{declaration.name}`\n"
    yield f"{declaration.help}\n"
    notes = _notes(declaration)
    if notes:
        yield f"{notes}\n"
    if declaration.options:
        yield "| option | value | default | meaning |"
        yield "|---|---|---|---|"
        for option in declaration.options:
            yield f"| `{option.name}` | {_cell(option.type_text)} | {_default(option)} | {_cell(option.option.help)} |"
        yield ""


def _notes(declaration: StageDeclaration) -> str:
    """Give the paragraphs of the docstring before its numpydoc sections, without the first line."""
    text = inspect.getdoc(declaration.function) or ""
    body = text.partition("\n\n")[2]
    paragraphs = []
    for paragraph in body.split("\n\n"):
        rows = paragraph.splitlines()
        if len(rows) > 1 and set(rows[1]) == {"-"}:
            break
        paragraphs.append(paragraph)
    return "\n\n".join(paragraphs).replace("``", "`")


def _default(option: OptionDeclaration) -> str:
    if option.required:
        return "needed"
    return "not set" if option.default is None else f"`{_cell(json.dumps(option.default))}`"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(reference(installed_stages()), encoding="utf-8")
