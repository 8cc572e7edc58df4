"""The recipe language as a JSON schema, for editors that check and complete while one writes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ladderlight.errors import PluginError
from ladderlight.plugins import StageRegistry, installed_stages
from ladderlight.recipe.tables import RecipeTable
from ladderlight.stages import StageDeclaration

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_REFERENCE = "#/$defs/{model}"


def schema(registry: StageRegistry | None = None) -> dict[str, Any]:
    """Give the JSON schema (draft 2020-12) of a recipe, the options of all installed stages included.

    A recipe that names plugins of its own may use stages that the schema does not know.
    """
    stages = list(_usable(registry or installed_stages()))
    document = RecipeTable.model_json_schema(ref_template=_REFERENCE)
    definitions = document["$defs"]
    known, overrides = [], {}
    for stage in stages:
        options = stage.model.model_json_schema(ref_template=_REFERENCE)
        definitions.update(options.pop("$defs", {}))
        known.append(_use(stage, options))
        if stage.kind.per_picture:
            overrides[stage.name] = _table(stage.help, options["properties"])
    names = [stage.name for stage in stages]
    own = {"type": "object", "properties": {"use": {"type": "string", "not": {"enum": names}}}, "required": ["use"]}
    definitions["StageTable"] = {"oneOf": [*known, own], "description": definitions["StageTable"]["description"]}
    definitions["PictureTable"]["properties"] |= overrides
    whole: dict[str, Any] = {
        "$schema": DIALECT,
        **document,
        "title": "Ladderlight recipe",
        "if": {"not": {"required": ["plugins"]}},
        "then": {
            "properties": {
                "stage": {"items": {"properties": {"use": {"enum": names}}}},
                "picture": {"items": {"propertyNames": {"enum": ["match", "bank", *overrides]}}},
            }
        },
    }
    _drop_null(whole)
    return whole


def _drop_null(value: Any) -> None:
    """Take out, everywhere inside, that a value may be nothing: TOML has no such value."""
    if isinstance(value, dict):
        if value.get("anyOf", [])[-1:] == [{"type": "null"}]:
            kinds = value.pop("anyOf")[:-1]
            value.update(kinds[0] if len(kinds) == 1 else {"anyOf": kinds})
            value.pop("default", None)
        for inner in value.values():
            _drop_null(inner)
    elif isinstance(value, list):
        for inner in value:
            _drop_null(inner)


def _usable(registry: StageRegistry) -> list[StageDeclaration]:
    """Give the stages that can be loaded; a plugin that cannot fails alone."""
    found = []
    for name in registry.names:
        try:
            found.append(registry.get(name))
        except PluginError:
            continue
    return found


def _use(stage: StageDeclaration, options: Mapping[str, Any]) -> dict[str, Any]:
    table = _table(stage.help, {"use": {"const": stage.name}, **options["properties"]})
    example = {"use": stage.name, **stage.example.options}
    return {"title": stage.name, **table, "required": ["use", *options.get("required", ())], "examples": [example]}


def _table(description: str, properties: Mapping[str, Any]) -> dict[str, Any]:
    return {"type": "object", "description": description, "properties": properties, "additionalProperties": False}
