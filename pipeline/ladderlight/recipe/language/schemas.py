"""The recipe language as a JSON schema, for editors that check and complete while one writes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from typing import Any

from ladderlight.errors import PluginError
from ladderlight.recipe.language.tables import RecipeTable
from ladderlight.stages.declaration import StageDeclaration
from ladderlight.stages.registry import StageRegistry, installed_stages

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_REFERENCE = "#/$defs/{model}"


def schema(registry: StageRegistry | None = None) -> dict[str, Any]:
    """Give the JSON schema (draft 2020-12) of a recipe, the options of all installed stages included.

    A recipe that names plugins of its own may use stages that the schema does not know.
    """
    stages = dict(_usable(registry or installed_stages()))
    document = RecipeTable.model_json_schema(ref_template=_REFERENCE)
    definitions = document["$defs"]
    known: list[dict[str, Any]] = []
    tables: dict[str, list[dict[str, Any]]] = {}
    for use, stage in stages.items():
        options = stage.model.model_json_schema(ref_template=_REFERENCE)
        definitions.update(options.pop("$defs", {}))
        uses = list(dict.fromkeys((use, stage.qualified)))
        known.append(_use(stage, uses, options))
        for key in (stage.name, stage.qualified) if stage.kind.per_picture else ():
            tables.setdefault(key, []).append(_table(stage.help, options["properties"]))
    overrides = {key: found[0] if len(found) == 1 else {"anyOf": found} for key, found in tables.items()}
    names = [name for table in known for name in table["properties"]["use"]["enum"]]
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


def _usable(registry: StageRegistry) -> Iterator[tuple[str, StageDeclaration]]:
    """Give the stages that can be loaded, by what a recipe writes; a plugin that cannot fails alone."""
    for use in registry.uses:
        with suppress(PluginError):
            yield use, registry.get(use)


def _use(stage: StageDeclaration, uses: Sequence[str], options: Mapping[str, Any]) -> dict[str, Any]:
    table = _table(stage.help, {"use": {"enum": list(uses)}, **options["properties"]})
    example = {"use": uses[0], **stage.example.options}
    return {"title": uses[0], **table, "required": ["use", *options.get("required", ())], "examples": [example]}


def _table(description: str, properties: Mapping[str, Any]) -> dict[str, Any]:
    return {"type": "object", "description": description, "properties": properties, "additionalProperties": False}
