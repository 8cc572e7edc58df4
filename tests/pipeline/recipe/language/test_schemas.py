from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import tomli
from jsonschema import Draft202012Validator

from ladderlight.board.model.board import BLANKING
from ladderlight.recipe import schema
from ladderlight.stages.registry import StageRegistry, _Registered, installed_stages

RECIPES = Path(__file__).parents[4] / "recipes"
Spoil = Callable[..., str]


@pytest.fixture(scope="module")
def validator() -> Draft202012Validator:
    document = json.loads(json.dumps(schema()))
    Draft202012Validator.check_schema(document)
    return Draft202012Validator(document)


def errors(validator: Draft202012Validator, text: str) -> list[str]:
    return sorted(".".join(map(str, error.absolute_path)) for error in validator.iter_errors(tomli.loads(text)))


@pytest.mark.parametrize("path", sorted(RECIPES.glob("*/recipe.toml")), ids=lambda path: path.parent.name)
def test_the_example_recipes_are_valid(validator: Draft202012Validator, path: Path) -> None:
    assert errors(validator, path.read_text(encoding="utf-8")) == []


def test_a_recipe_with_plugins_may_use_stages_of_its_own(validator: Draft202012Validator, text: str) -> None:
    assert errors(validator, text) == []
    without = text.replace('plugins = ["lantern.py"]\n', "")
    assert {"stage.0.use", "picture.0"} <= set(errors(validator, without))


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("format = 1", "format = 2", "format"),
        ('clock = "25.175 MHz"', "clock = true", "board"),
        ('clock = "25.175 MHz"', "", "board"),
        ('"output-enable"', '"output_enable"', "board"),
        ("[project]", "[projekt]", ""),
        ('name = "Merrowhithe"', "name = 3", "project.name"),
        ('part = "27C010"', "words = 1024", "board"),
        ('files = ["pictures/*.jpg", "pictures/*.png"]', "files = []", "pictures.files"),
        ("bank = 3", "bank = -1", "picture.0.bank"),
        ("[pictures]", '[viewing]\nscreen_width = "30 cm"\n[pictures]', "viewing"),
        ("[pictures]", "[viewing]\ndistance = true\n[pictures]", "viewing.distance"),
        ("[pictures]", '[viewing]\ndistance = "1 m"\ndiagonal = 1\n[pictures]', "viewing"),
    ],
)
def test_errors_of_a_recipe(validator: Draft202012Validator, spoil: Spoil, old: str, new: str, where: str) -> None:
    assert errors(validator, spoil((old, new))) == [where]


def test_a_viewing(validator: Draft202012Validator, spoil: Spoil) -> None:
    for lines in ('distance = "1.5 m"', 'distance = 1.5\nscreen_width = "30 cm"'):
        assert errors(validator, spoil(("[pictures]", f"[viewing]\n{lines}\n[pictures]"))) == []


@pytest.mark.parametrize(
    ("stage", "valid"),
    [
        ('use = "diffuse"\nkernel = "stucki"\nstrength = 0.5', True),
        ('use = "diffuse"\nkernel = "stuki"', False),
        ('use = "diffuse"\nstrenght = 0.5', False),
        ('use = "diffuse"\nstrength = 1.5', False),
        ('use = "diffuse"\nstrength = true', False),
        ('use = "crop"\nkeep = "top"', True),
        ('use = "diffuze"', False),
        ("kernel = 3", False),
    ],
)
def test_options_of_stages(validator: Draft202012Validator, text: str, stage: str, *, valid: bool) -> None:
    base = text[: text.index("[[stage]]")].replace('plugins = ["lantern.py"]\n', "")
    assert (errors(validator, f"{base}[[stage]]\n{stage}\n") == []) is valid


@pytest.mark.parametrize(
    ("override", "valid"),
    [
        ("diffuse = { strength = 0.5 }", True),
        ("diffuse = { strength = 2 }", False),
        ("binary = {}", False),
        ("bank = 1", True),
    ],
)
def test_overrides(validator: Draft202012Validator, text: str, override: str, *, valid: bool) -> None:
    base = text[: text.index("[[stage]]")].replace('plugins = ["lantern.py"]\n', "")
    assert (errors(validator, f'{base}[[picture]]\nmatch = "*"\n{override}\n') == []) is valid


def test_every_option_of_every_stage_is_described() -> None:
    uses: list[dict[str, Any]] = schema()["$defs"]["StageTable"]["oneOf"]
    by_name = {use["properties"]["use"]["enum"][0]: use for use in uses if "enum" in use["properties"]["use"]}
    registry = installed_stages()
    assert sorted(by_name) == list(registry.names)
    for name, use in by_name.items():
        declaration = registry.get(name)
        assert use["description"] == declaration.help
        assert use["properties"]["use"]["enum"] == [name, f"builtin.{name}"]
        assert use["examples"] == [{"use": name, **declaration.example.options}]
        assert list(use["properties"]) == ["use", *(option.name for option in declaration.options)]
        assert all(
            use["properties"][option.name]["description"] == option.option.help for option in declaration.options
        )


def test_a_plugin_that_cannot_be_loaded_is_left_out() -> None:
    broken = _Registered(reference="nothing_of_the_kind:paint", plugin="broken")
    crop = _Registered(reference="ladderlight_stages.pictures.crop.stage:crop", plugin="builtin")
    uses = schema(StageRegistry(_stages={"paint": (broken,), "crop": (crop,)}))["$defs"]["StageTable"]["oneOf"]
    assert [use["properties"]["use"] for use in uses] == [
        {"enum": ["crop", "builtin.crop"]},
        {"type": "string", "not": {"enum": ["crop", "builtin.crop"]}},
    ]


def test_a_stage_that_a_built_in_one_stands_before_is_known_by_its_plugin(text: str) -> None:
    crop, other = (
        _Registered(reference=f"ladderlight_stages.pictures.crop.stage:{name}", plugin=plugin)
        for name, plugin in (("crop", "builtin"), ("crop", "harbour"))
    )
    document = schema(StageRegistry(_stages={"crop": (crop, other)}))
    validator = Draft202012Validator(json.loads(json.dumps(document)))
    base = text[: text.index("[[stage]]")].replace('plugins = ["lantern.py"]\n', "")
    for use, good in {"crop": True, "builtin.crop": True, "harbour.crop": True, "quay.crop": False}.items():
        recipe = f'{base}[[stage]]\nuse = "{use}"\n[[picture]]\nmatch = "*"\n"{use}" = {{ keep = "centre" }}\n'
        assert (errors(validator, recipe) == []) is good, use


def test_nothing_may_be_null() -> None:
    assert '"null"' not in json.dumps(schema())


def test_the_ways_of_blanking_are_explained() -> None:
    description = schema()["$defs"]["BoardTable"]["properties"]["blanking"]["description"]
    for way, meaning in BLANKING.items():
        assert f'"{way}" ({meaning})' in description
