"""Parts of a recipe as text."""

import json
from collections.abc import Mapping
from typing import Any

from ladderlight.stages.declaration import StageDeclaration
from ladderlight.stages.kinds import Kind


def toml_value(value: Any) -> str:
    """Write a value as TOML: text, a number, true or false, a list, or an inline table."""
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{key} = {toml_value(inner)}' for key, inner in value.items())} }}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml_value, value))}]"
    return json.dumps(value, ensure_ascii=False)


def stage_table(declaration: StageDeclaration) -> str:
    """Write a stage's example as a recipe's ``[[stage]]`` table, that of a card in ``[pictures]``."""
    options = declaration.example.options
    use = {"use": declaration.name, **options}
    if declaration.kind is Kind.CARD:
        return f"[pictures]\ncards = {toml_value([use if options else declaration.name])}"
    return use_table(use)


def use_table(use: Mapping[str, Any]) -> str:
    """Write a ``[[stage]]`` table, ``use`` included."""
    return "\n".join(["[[stage]]", *(f"{key} = {toml_value(value)}" for key, value in use.items())])
