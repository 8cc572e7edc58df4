"""Parts of a recipe as text."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from ladderlight.stages.declaration import StageDeclaration


def toml_value(value: Any) -> str:
    """Write a value as TOML: text, a number, true or false, a list, or an inline table."""
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{key} = {toml_value(inner)}' for key, inner in value.items())} }}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml_value, value))}]"
    return json.dumps(value, ensure_ascii=False)


def stage_table(declaration: StageDeclaration) -> str:
    """Write a stage's example as a recipe's ``[[stage]]`` table."""
    return use_table({"use": declaration.name, **declaration.example.options})


def use_table(use: Mapping[str, Any]) -> str:
    """Write a ``[[stage]]`` table, ``use`` included."""
    return "\n".join(["[[stage]]", *(f"{key} = {toml_value(value)}" for key, value in use.items())])
