from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
import tomli
from jsonschema import Draft202012Validator

from ladderlight.board.model.board import BLANKING
from ladderlight.recipe import schema
from ladderlight.stages.kinds import Kind
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
    assert {"stage.0.use", "picture.0.glow"} <= set(errors(validator, without))


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("format = 1", "format = 2", "format"),
        ('clock = "25.175 MHz"', "clock = true", "board.clock"),
        ('clock = "25.175 MHz"', "", "board"),
        ('mode = "640x480@60"', 'mode = "640x480@6O"', "board.mode"),
        (
            'mode = "640x480@60"',
            "mode = { dot_clock = true, horizontal = [640, 16, 96, 48], vertical = [480, 10, 2, 33] }",
            "board.mode.dot_clock",
        ),
        ('"output-enable"', '"output_enable"', "board.blanking"),
        ("[project]", "[projekt]", "projekt"),
        ('name = "Merrowhithe"', "name = 3", "project.name"),
        ('part = "27C010"', "words = 1024", "board.memory.0"),
        ('part = "27C010"', 'part = "27C010"\nwords = 1024', "board.memory.0.words"),
        ('part = "27C010"', 'part = "27C01O"', "board.memory.0.part"),
        ('supply = "5 V"', 'supply = "5 V"\nlod = "75 ohm"', "board.ladder.lod"),
        ('supply = "5 V"', 'supply = "5 V"\ndriver = true', "board.ladder.driver"),
        ('supply = "5 V"', 'supply = "5 V"\ndriver = { high = true, low = 3 }', "board.ladder.driver.high"),
        ('supply = "5 V"', 'supply = "5 V"\ngrey = { k = true }', "board.ladder.grey.k"),
        ('supply = "5 V"', 'supply = "5 V"\ngrey = { r2r = "330", lines = "k0" }', "board.ladder.grey.lines"),
        ('supply = "5 V"', 'supply = "5 V"\ngrey = ["330"]', "board.ladder.grey"),
        ('files = ["pictures/*.jpg", "pictures/*.png"]', "files = []", "pictures.files"),
        ("bank = 3", "bank = -1", "picture.0.bank"),
        ("[pictures]", '[viewing]\nscreen_width = "30 cm"\n[pictures]', "viewing"),
        ("[pictures]", "[viewing]\ndistance = true\n[pictures]", "viewing.distance"),
        ("[pictures]", '[viewing]\ndistance = "1 m"\ndiagonal = 1\n[pictures]', "viewing.diagonal"),
    ],
)
def test_errors_of_a_recipe(validator: Draft202012Validator, spoil: Spoil, old: str, new: str, where: str) -> None:
    assert errors(validator, spoil((old, new))) == [where]


def test_a_viewing(validator: Draft202012Validator, spoil: Spoil) -> None:
    for lines in ('distance = "1.5 m"', 'distance = 1.5\nscreen_width = "30 cm"'):
        assert errors(validator, spoil(("[pictures]", f"[viewing]\n{lines}\n[pictures]"))) == []


@pytest.mark.parametrize(
    ("stage", "where"),
    [
        ('use = "diffuse"\nkernel = "stucki"\nstrength = 0.5', []),
        ('use = "diffuse"\nkernel = "stuki"', ["stage.0.kernel"]),
        ('use = "diffuse"\nstrenght = 0.5', ["stage.0.strenght"]),
        ('use = "diffuse"\nstrength = 1.5', ["stage.0.strength"]),
        ('use = "diffuse"\nstrength = true', ["stage.0.strength"]),
        ('use = "crop"\nkeep = "top"', []),
        ('use = "builtin.crop"\nkeep = "topp"', ["stage.0.keep"]),
        ('use = "diffuze"\nstrength = 9', ["stage.0.use"]),
        ("kernel = 3", ["stage.0"]),
        ('use = "rotate"', ["stage.0"]),
    ],
)
def test_options_of_stages(validator: Draft202012Validator, text: str, stage: str, where: list[str]) -> None:
    base = text[: text.index("[[stage]]")].replace('plugins = ["lantern.py"]\n', "")
    assert errors(validator, f"{base}[[stage]]\n{stage}\n") == where


@pytest.mark.parametrize(
    ("override", "where"),
    [
        ("diffuse = { strength = 0.5 }", []),
        ("diffuse = { strength = 2 }", ["picture.0.diffuse.strength"]),
        ("diffuse = { strenght = 0.2 }", ["picture.0.diffuse.strenght"]),
        ("binary = {}", ["picture.0.binary"]),
        ("bank = 1", []),
    ],
)
def test_overrides(validator: Draft202012Validator, text: str, override: str, where: list[str]) -> None:
    base = text[: text.index("[[stage]]")].replace('plugins = ["lantern.py"]\n', "")
    assert errors(validator, f'{base}[[picture]]\nmatch = "*"\n{override}\n') == where


def test_the_forms_are_listed_for_editors_that_complete_by_any_of() -> None:
    """As taplo does; the list must hold for every value, since ``if`` and ``then`` do the checking."""
    definitions = schema()["$defs"]
    uses = definitions["StageTable"]["anyOf"]
    assert uses[-1] == {}
    listed = {form["$ref"].removeprefix("#/$defs/") for form in uses[:-1]}
    assert listed == {name for name in definitions if name.startswith("stage.")}
    mode = definitions["BoardTable"]["properties"]["mode"]
    assert (mode["anyOf"][1:], mode["then"]) == ([{"$ref": "#/$defs/TimingsTable"}, {}], mode["anyOf"][1])


@pytest.mark.parametrize(
    ("cards", "where"),
    [
        ('["addresses"]', []),
        ('[{ use = "addresses", bank = 1 }]', []),
        ('["adresses"]', ["pictures.cards.0"]),
        ('["diffuse"]', ["pictures.cards.0"]),
        ('[{ use = "addresses", bnk = 1 }]', ["pictures.cards.0.bnk"]),
        ('[{ use = "addresses", bank = -1 }]', ["pictures.cards.0.bank"]),
        ('[{ use = "diffuse" }]', ["pictures.cards.0.use"]),
        ("[]", ["pictures.cards"]),
    ],
)
def test_cards(validator: Draft202012Validator, text: str, cards: str, where: list[str]) -> None:
    base = text[: text.index("[[stage]]")].replace('plugins = ["lantern.py"]\n', "")
    assert errors(validator, f"{base}cards = {cards}\n") == where


def test_the_schema_has_an_address() -> None:
    assert schema()["$id"] == "https://example.org/ladderlight/recipe.schema.json"


def test_every_option_of_every_stage_is_described() -> None:
    uses = [table for name, table in schema()["$defs"].items() if name.startswith(("stage.", "card."))]
    by_name = {use["title"]: use for use in uses}
    registry = installed_stages()
    assert sorted(by_name) == list(registry.names)
    for name, use in by_name.items():
        declaration = registry.get(name)
        assert use["description"] == declaration.help
        assert use["properties"]["use"]["enum"] == [name, f"builtin.{name}"]
        assert use["examples"] == [{"use": name, **declaration.example.options}]
        own = ["use", "bank", "tray"] if declaration.kind is Kind.CARD else ["use", "revision"]
        assert list(use["properties"]) == [*own, *(option.name for option in declaration.options)]
        assert all(
            use["properties"][option.name]["description"] == option.option.help for option in declaration.options
        )


def test_a_plugin_that_cannot_be_loaded_is_left_out() -> None:
    broken = _Registered(reference="nothing_of_the_kind:paint", plugin="broken")
    crop = _Registered(reference="ladderlight_stages.pictures.crop:crop", plugin="builtin")
    document = schema(StageRegistry(_stages={"paint": (broken,), "crop": (crop,)}))
    assert [name for name in document["$defs"] if name.startswith("stage.")] == ["stage.builtin.crop"]
    assert document["then"]["properties"]["stage"]["items"]["properties"]["use"] == {"enum": ["crop", "builtin.crop"]}


def test_a_stage_that_a_built_in_one_stands_before_is_known_by_its_plugin(text: str) -> None:
    crop, other = (
        _Registered(reference=f"ladderlight_stages.pictures.crop:{name}", plugin=plugin)
        for name, plugin in (("crop", "builtin"), ("crop", "harbour"))
    )
    document = schema(StageRegistry(_stages={"crop": (crop, other)}))
    validator = Draft202012Validator(json.loads(json.dumps(document)))
    base = text[: text.index("[[stage]]")].replace('plugins = ["lantern.py"]\n', "")
    for use, good in {"crop": True, "builtin.crop": True, "harbour.crop": True, "quay.crop": False}.items():
        recipe = f'{base}[[stage]]\nuse = "{use}"\n[[picture]]\nmatch = "*"\n"{use}" = {{ keep = "centre" }}\n'
        assert (errors(validator, recipe) == []) is good, use


def test_nothing_may_be_null() -> None:
    text = json.dumps(schema())
    assert '"null"' not in text
    assert "null" not in re.findall(r"[a-z]+", re.sub(r'"[^"]*"', "", text))


def test_the_ways_of_blanking_are_explained() -> None:
    description = schema()["$defs"]["BoardTable"]["properties"]["blanking"]["description"]
    for way, meaning in BLANKING.items():
        assert f'"{way}" ({meaning})' in description
