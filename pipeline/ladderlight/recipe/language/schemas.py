"""The recipe language as a JSON schema, for editors that check and complete while one writes.

A mistake inside a value that has several forms should be marked at its key. ``anyOf`` would mark the whole value, so
``if`` chooses the form and ``then`` checks it. The ``anyOf`` beside them always holds: it lists the forms for editors
that look there for completions (taplo reads neither ``then`` nor ``else`` for that).
"""

import ast
import inspect
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from functools import cache
from itertools import pairwise
from typing import Any

from pydantic import BaseModel

from ladderlight.errors import PluginError
from ladderlight.recipe.language import tables
from ladderlight.recipe.language.tables import RecipeTable
from ladderlight.stages.declaration import StageDeclaration
from ladderlight.stages.kinds import Kind
from ladderlight.stages.registry import StageRegistry, installed_stages

DIALECT = "https://json-schema.org/draft/2020-12/schema"
ADDRESS = "https://example.org/ladderlight/recipe.schema.json"
"""The schema's ``$id``: a name, from which nothing is loaded; example.org is reserved for such (RFC 2606)."""
_REFERENCE = "#/$defs/{model}"
_ANYTHING: dict[str, Any] = {}
_NO_SUCH_KEY = {"not": {"description": "no such key"}}
"""What no value fits. With ``false`` for further keys, taplo would mark everything in the table beside the one key."""


def schema(registry: StageRegistry | None = None) -> dict[str, Any]:
    """Return the JSON schema (draft 2020-12) of a recipe, the options of all installed stages included.

    A recipe that names plugins of its own may use stages that the schema does not know.
    """
    _describe()
    document = RecipeTable.model_json_schema(ref_template=_REFERENCE)
    definitions = document["$defs"]
    forms: dict[str, list[tuple[dict[str, Any], dict[str, Any]]]] = {"StageTable": [], "CardTable": []}
    tables: dict[str, list[dict[str, Any]]] = {}
    names: dict[str, list[str]] = {table: [] for table in forms}
    for use, stage in _usable(registry or installed_stages()):
        options = stage.model.model_json_schema(ref_template=_REFERENCE)
        definitions.update(options.pop("$defs", {}))
        uses = list(dict.fromkeys((use, stage.qualified)))
        card = stage.kind is Kind.CARD
        table, own = ("CardTable", ("bank", "tray")) if card else ("StageTable", ("revision",))
        names[table] += uses
        name = f"{'card' if card else 'stage'}.{stage.qualified}"
        definitions[name] = _use(stage, uses, options, dict.fromkeys(own, _ANYTHING))
        forms[table].append(({"properties": {"use": {"enum": uses}}, "required": ["use"]}, _reference(name)))
        if stage.kind.per_picture:
            name = f"override.{stage.qualified}"
            definitions[name] = _table(stage.help, options["properties"])
            for key in (stage.name, stage.qualified):
                tables.setdefault(key, []).append(_reference(name))
    for table, found in forms.items():
        definitions[table] |= {
            "anyOf": [*(form for _, form in found), _ANYTHING],
            "allOf": [{"if": test, "then": form} for test, form in found],
        }
    overrides = {key: found[0] if len(found) == 1 else {"anyOf": found} for key, found in tables.items()}
    definitions["PictureTable"]["properties"] |= overrides
    _refine(document)
    document["required"].remove("board")
    document["oneOf"] = [{"required": [key]} for key in ("board", "revisions")]
    pictures = {"properties": dict.fromkeys(("match", "bank", "tray", "revision", *overrides), _ANYTHING)}
    return {
        "$schema": DIALECT,
        "$id": ADDRESS,
        **document,
        "title": "Ladderlight recipe",
        "if": {"not": {"required": ["plugins"]}},
        "then": {
            "properties": {
                "stage": {"items": {"properties": {"use": {"enum": names["StageTable"]}}}},
                "pictures": {"properties": {"cards": {"items": _one_of(names["CardTable"])}}},
                "picture": {"items": pictures | {"additionalProperties": _NO_SUCH_KEY}},
            }
        },
    }


@cache
def _describe() -> None:
    """Give each key of each table the words below it as its description, and build the tables with them.

    Reading the source takes longer than checking a recipe, which does without.
    """
    classes = [node for node in ast.parse(inspect.getsource(tables)).body if isinstance(node, ast.ClassDef)]
    models: list[type[BaseModel]] = [getattr(tables, node.name) for node in classes]
    for node, model in zip(classes, models, strict=True):
        for key, words in pairwise(node.body):
            if isinstance(key, ast.AnnAssign) and isinstance(key.target, ast.Name) and isinstance(words, ast.Expr):
                field = model.model_fields.get(key.target.id)
                if field is not None and isinstance(words.value, ast.Constant):
                    field.description = inspect.cleandoc(str(words.value.value))
    for model in models:
        model.model_rebuild(force=True)


def _refine(value: Any) -> None:
    """Take out nulls and the defaults of tables, and let a mistake in a value of several forms mark one key."""
    if isinstance(value, list):
        for inner in value:
            _refine(inner)
    if not isinstance(value, dict):
        return
    if isinstance(value.get("default"), dict):
        del value["default"]
    if value.get("additionalProperties") is False:
        value["additionalProperties"] = _NO_SUCH_KEY
    forms = value.get("anyOf", [])
    if forms[-1:] == [{"type": "null"}]:
        value.pop("default", None)
        forms = value.pop("anyOf")[:-1]
        value.update(forms[0] if len(forms) == 1 else {"anyOf": forms})
    if len(forms) == 2 and "$ref" in forms[1] and "$ref" not in forms[0]:
        other, table = forms
        # A channel is a table in either form; an R-2R ladder's has keys of its own.
        is_table: dict[str, Any] = {"type": "object"}
        if other.get("type") == "object":
            is_table["anyOf"] = [{"required": [key]} for key in ("r2r", "lines")]
        value.update({"anyOf": [*forms, _ANYTHING], "if": is_table, "then": table, "else": other})
    for inner in value.values():
        _refine(inner)


def _usable(registry: StageRegistry) -> Iterator[tuple[str, StageDeclaration]]:
    """Yield the stages that can be loaded, by what a recipe writes; a plugin that cannot fails alone."""
    for use in registry.uses:
        with suppress(PluginError):
            yield use, registry.get(use)


def _reference(name: str) -> dict[str, Any]:
    return {"$ref": _REFERENCE.format(model=name)}


def _one_of(uses: Sequence[str]) -> dict[str, Any]:
    """Return the check of a name, or of a table with ``use``."""
    known = {"enum": list(uses)}
    return {"if": {"type": "string"}, "then": known, "else": {"properties": {"use": known}}}


def _use(
    stage: StageDeclaration, uses: Sequence[str], options: Mapping[str, Any], own: Mapping[str, Any]
) -> dict[str, Any]:
    table = _table(stage.help, {"use": {"enum": list(uses)}, **own, **options["properties"]})
    example = {"use": uses[0], **stage.example.options}
    return {"title": uses[0], **table, "required": ["use", *options.get("required", ())], "examples": [example]}


def _table(description: str, properties: Mapping[str, Any]) -> dict[str, Any]:
    return {"type": "object", "description": description, "properties": properties, "additionalProperties": False}
