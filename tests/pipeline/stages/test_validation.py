import datetime
import re
import sys
from typing import Annotated, Any, Literal

import pytest
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ladderlight import CodedPicture, Option, Picture, stage
from ladderlight.errors import Problem
from ladderlight.recipe.language.tables import BoardTable, RecipeTable
from ladderlight.stages.annotations import Described, Example
from ladderlight.stages.declaration import StageDeclaration, declaration_of
from ladderlight.stages.registry import installed_stages
from ladderlight.stages.validation import KeyName, as_json, model_of_options, problems_of


@stage(help="Paint.")
def paint(
    picture: Picture,
    *,
    need: int,
    keep: Annotated[Literal["centre", "top", "focus"], Option("which part stays")] = "centre",
    strength: Annotated[float, Option("share", minimum=0, maximum=1)] = 1.0,
    hold: Annotated[float | None, Option("time", unit="s", minimum=0)] = None,
    lines: Annotated[int, Option("rate", unit="Hz", maximum=1000)] = 60,
    matte: Annotated[tuple[float, float, float], Option("colour", minimum=0, maximum=1)] = (0.0, 0.0, 0.0),
    size: Annotated[int | Literal["auto"], Option("edge", minimum=1)] = "auto",
    place: Annotated[tuple[float, float] | Literal["auto"], Option("where")] = "auto",
    factor: Literal[1, 2, 4] = 1,
    name: str = "",
    flag: bool = False,
    names: Annotated[list[str], Option("words")] = [],  # noqa: B006 - read, never changed
    table: Annotated[dict[str, int], Option("numbers", maximum=9)] = {},  # noqa: B006 - read, never changed
) -> Picture:
    return picture


@pytest.fixture
def declaration() -> StageDeclaration:
    return declaration_of(paint)


GOOD = {
    "need": 3,
    "keep": "top",
    "strength": 1,
    "hold": "20 ms",
    "lines": "1 kHz",
    "matte": [0, 0.5, 1],
    "size": 5,
    "place": [1, 2.5],
    "factor": 4,
    "name": "x",
    "flag": True,
    "names": ["a", "b"],
    "table": {"a": 9},
}


def test_good_options_come_back_as_plain_values(declaration: StageDeclaration) -> None:
    values, problems = declaration.check(GOOD)
    assert problems == []
    assert values == GOOD | {"hold": 0.02, "lines": 1000, "matte": (0.0, 0.5, 1.0), "place": (1.0, 2.5)}
    assert type(values["lines"]) is int


def test_defaults_are_left_out(declaration: StageDeclaration) -> None:
    assert declaration.check({"need": 1}) == ({"need": 1}, [])


def test_the_model_is_frozen_and_knows_its_defaults(declaration: StageDeclaration) -> None:
    model: Any = model_of_options(declaration)
    options = model(need=1)
    assert (options.keep, options.strength, options.size) == ("centre", 1.0, "auto")
    with pytest.raises(ValidationError):
        options.need = 2


@pytest.mark.parametrize(
    ("option", "value", "where", "message"),
    [
        ("need", True, (), "need is true, not a number; use a whole number"),
        ("need", 1.5, (), "need is the number 1.5; use a whole number"),
        ("need", "1", (), "need is the text '1'; use a whole number"),
        ("need", [1], (), "need is a list; use a whole number"),
        ("keep", "center", (), "keep is 'center', which is not known; did you mean 'centre'?"),
        ("keep", "zzz", (), "keep is 'zzz', which is not known; use one of centre, focus, top"),
        ("keep", 3, (), 'keep is 3; use "centre", "top" or "focus"'),
        ("keep", True, (), 'keep is true; use "centre", "top" or "focus"'),
        ("strength", 1.5, (), "strength is 1.5, which is out of range; use a number from 0 to 1"),
        ("strength", False, (), "strength is false, not a number; use a number from 0 to 1"),
        ("strength", float("nan"), (), "strength is nan, which is out of range; use a number from 0 to 1"),
        ("hold", "2 V", (), "hold is '2 V', which is not a time; write a time such as \"120 ns\""),
        ("hold", "-2 s", (), "hold is -2.0, which is out of range; use a number of 0 or more in s"),
        ("hold", True, (), 'hold is true, not a time; write a time such as "120 ns"'),
        ("lines", "60.5 Hz", (), "lines is the number 60.5; use a whole number up to 1000 in Hz"),
        ("lines", "2 kHz", (), "lines is 2000, which is out of range; use a whole number up to 1000 in Hz"),
        ("matte", [0, 1], (), "matte has 2 entries; use a list of 3, each a number from 0 to 1"),
        ("matte", [0, 0, 0, 0], (), "matte has 4 entries; use a list of 3, each a number from 0 to 1"),
        ("matte", [0, 2, 0], (1,), "entry 2 of matte is 2, which is out of range; use a number from 0 to 1"),
        ("matte", [0, 0, True], (2,), "entry 3 of matte is true, not a number; use a number from 0 to 1"),
        ("matte", {"r": 1}, (), "matte is a table; use a list of 3, each a number from 0 to 1"),
        ("size", 0, (), 'size is the number 0; use a whole number of 1 or more or "auto"'),
        ("size", True, (), 'size is true; use a whole number of 1 or more or "auto"'),
        ("size", "auo", (), "size is the text 'auo'; use a whole number of 1 or more or \"auto\""),
        ("place", [1], (), 'place is a list; use a list of 2, each a number or "auto"'),
        ("factor", 3, (), "factor is 3; use 1, 2 or 4"),
        ("factor", True, (), "factor is true; use 1, 2 or 4"),
        ("name", 3, (), 'name is the number 3; put it in quotes: "3"'),
        ("name", datetime.date(2024, 1, 1), (), "name is a date or time; use a text in quotes"),
        ("flag", 1, (), "flag is the number 1; use true or false"),
        ("flag", "yes", (), "flag is the text 'yes'; use true or false"),
        ("matte", [], (), "matte has 0 entries; use a list of 3, each a number from 0 to 1"),
        ("matte", [-1], (), "matte has 1 entry; use a list of 3, each a number from 0 to 1"),
        ("matte", [0, "a"], (), "matte has 2 entries; use a list of 3, each a number from 0 to 1"),
        ("names", "a", (), "names is the text 'a'; put it in brackets: [\"a\"]"),
        ("names", ["a", 1], (1,), 'entry 2 of names is the number 1; put it in quotes: "1"'),
        ("table", {"a": 10}, ("a",), "a is 10, which is out of range; use a whole number up to 9"),
        ("table", {"a": True}, ("a",), "a is true, not a number; use a whole number up to 9"),
    ],
)
def test_a_bad_option(
    declaration: StageDeclaration, option: str, value: object, where: tuple[str | int, ...], message: str
) -> None:
    values, problems = declaration.check({"need": 1, option: value})
    assert values == {}
    assert [(p.where, str(p)) for p in problems] == [((option, *where), f"stage 'paint': {message}")]


def test_an_unknown_field_in_a_text_is_named_before_anything_is_done() -> None:
    @stage(help="Name.")
    def name(picture: Picture, *, pattern: Annotated[str, Option("name", fields=("device", "bank"))] = "") -> Picture:
        return picture

    declared = declaration_of(name)
    assert declared.check({"pattern": "{bank}-{device}.bin"}) == ({"pattern": "{bank}-{device}.bin"}, [])
    assert declared.options[0].type_text == "text with {device}, {bank}"
    _, (problem,) = declared.check({"pattern": "{devise}.bin"})
    assert problem.where == ("pattern",)
    assert str(problem) == (
        "stage 'name': pattern is '{devise}.bin', and there is no field {devise}; did you mean 'device'?"
    )


def test_an_unknown_option_points_at_its_key(declaration: StageDeclaration) -> None:
    (problem,) = declaration.check({"need": 1, "strenght": 1})[1]
    assert str(problem) == "stage 'paint' has no option 'strenght'; did you mean 'strength'?"
    assert problem.where == ("strenght",)
    assert isinstance(problem.where[0], KeyName)


def test_a_missing_option(declaration: StageDeclaration) -> None:
    (problem,) = declaration.check({})[1]
    assert (problem.where, str(problem)) == ((), "stage 'paint' lacks the option 'need'; add it: a whole number")


def test_a_misspelt_option_is_not_missed_as_well(declaration: StageDeclaration) -> None:
    assert [str(p) for p in declaration.check({"neeed": 1})[1]] == [
        "stage 'paint' has no option 'neeed'; did you mean 'need'?"
    ]


def test_all_problems_come_at_once(declaration: StageDeclaration) -> None:
    problems = declaration.check({"keep": "x", "strength": 2, "matte": [2, 2, 2], "other": 1})[1]
    assert [p.where for p in problems] == [(), ("keep",), ("strength",), *(("matte", i) for i in range(3)), ("other",)]


class Pin(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    line: Annotated[str, Example('line = "x2"')]
    delay: Annotated[float, Described("a delay in picoseconds")] = 0


class Chip(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    pins: Annotated[tuple[Pin, ...], Field(min_length=2)]
    size: int = 1


class Bench(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    chip: Chip
    chips: tuple[Chip, ...] = ()


def complaints(raw: object, where: tuple[str | int, ...] = ()) -> list[tuple[tuple[str | int, ...], str]]:
    with pytest.raises(ValidationError) as caught:
        Bench.model_validate_json(as_json(raw), strict=True)
    return [(problem.where, str(problem)) for problem in problems_of(caught.value, Bench, where=where)]


def test_nested_tables_and_lists() -> None:
    raw = {
        "chip": {"pins": [{"line": 1}, {"delay": "x", "lime": 2}, {}], "siz": 3},
        "chips": [{"pins": [{"line": "a"}, 5]}],
        "pins": [{"line": "a"}],
    }
    assert complaints(raw, ("bench",)) == [
        (("bench", "chip", "pins", 0, "line"), 'line is the number 1; put it in quotes: "1"'),
        (("bench", "chip", "pins", 1, "delay"), "delay is the text 'x'; use a delay in picoseconds"),
        (("bench", "chip", "pins", 1, "lime"), "[[bench.chip.pins]] has no key 'lime'; did you mean 'line'?"),
        (("bench", "chip", "pins", 2), "[[bench.chip.pins]] lacks the key 'line'; add line = \"x2\""),
        (("bench", "chip", "siz"), "[bench.chip] has no key 'siz'; did you mean 'size'?"),
        (("bench", "chips", 0, "pins", 1), "entry 2 of pins is the number 5; write [[chips.pins]] and its keys below"),
        (("bench", "pins"), "[bench] has no key 'pins'; write [[chip.pins]]"),
    ]


def test_lists_that_are_too_short() -> None:
    assert complaints({"chip": {"pins": [{"line": "a"}]}}) == [(("chip", "pins"), "pins has 1 entry; give 2 or more")]


def test_brackets_of_headings() -> None:
    assert complaints({"chip": [{"pins": []}], "chips": {"pins": []}}) == [
        (("chip",), "chip is a list of tables; write [chip]"),
        (("chips",), "chips is a single table; write [[chips]]"),
    ]


def test_a_key_that_belongs_elsewhere() -> None:
    raw = {"chip": {"pins": [{"line": "a"}, {"line": "b"}]}, "delay": 1}
    assert complaints(raw) == [
        (("delay",), "the recipe has no key 'delay'; it belongs in [[chip.pins]] or [[chips.pins]]")
    ]


def test_reductions_are_checked_alike() -> None:
    @stage(help="Reduce.")
    def reduce(picture: Picture, *, levels: Annotated[int, Option("levels", minimum=2)] = 2) -> CodedPicture:
        raise AssertionError

    assert [str(p) for p in declaration_of(reduce).check({"levels": 1})[1]] == [
        "stage 'reduce': levels is 1, which is out of range; use a whole number of 2 or more"
    ]


def test_listing_needs_no_pydantic() -> None:
    import subprocess

    code = "import sys, ladderlight.stages.validation, ladderlight.units.parsing, ladderlight.stages.contract; "
    code += "print(sorted({'pydantic', 'quantiphy', 'numpy'} & set(sys.modules)))"
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert result.stdout.strip() == "[]"


ODD: list[Any] = [
    True, 0, -1, 10**30, 1.5, float("nan"), float("inf"), "", "x", "1.5 V", "a\tb", "[a", "{", "{x}", "1e999 ohm",
    [], [1], ["x"], [[]], [[1, 2], [3]], {}, {"a": 1}, [{}], datetime.date(2026, 2, 3), datetime.time(10),
]  # fmt: skip
LIBRARY = re.compile(
    r"value error|input|valid\b|parse|pydantic|assertion|instance|\bdict|\bNone|\bstr\b|\bint\b|\bfloat"
)
"""Words of the library's own messages."""


def test_no_word_of_the_library_comes_through_whatever_is_written() -> None:
    stages = installed_stages()
    for stage_ in map(stages.get, stages.names):
        for option in stage_.options:
            for value in ODD:
                for problem in stage_.check({**stage_.example.options, option.name: value})[1]:
                    assert not LIBRARY.search(str(problem)), problem
    for name in BoardTable.model_fields:
        for value in ODD:
            for problem in problems_in({"board": {name: value}}):
                assert not LIBRARY.search(str(problem)), (name, problem)
    format_ = next(problem for problem in problems_in({"format": 10**30}) if problem.where == ("format",))
    assert format_.what == f"format is {10**30}, which is of no use here"


def problems_in(raw: dict[str, Any]) -> list[Problem]:
    with pytest.raises(ValidationError) as caught:
        RecipeTable.model_validate_json(as_json(raw), strict=True)
    return problems_of(caught.value, RecipeTable)
