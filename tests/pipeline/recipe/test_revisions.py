"""Recipes with several boards: what each revision has, where it goes, and mistakes with their places."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from ladderlight import commands
from ladderlight.errors import PictureError, RecipeError, UsageError
from ladderlight.recipe import load, load_revisions
from ladderlight.recipe.language.schemas import schema
from ladderlight.workspace import build as building

from ...boards import GREY

RECIPE = """
format = 1

[revisions]
a = "boards/a.toml"
b = "boards/b.toml"

[pictures]
files = ["grey.pgm"]

[[stage]]
use = "resize"
fit = "stretch"

[[stage]]
use = "nearest"

[[stage]]
use = "bank_pictures"

[[stage]]
use = "intel_hex"
revision = "b"

[[stage]]
use = "binary"
revision = "a"

[[picture]]
match = "grey.pgm"
bank = 1
revision = "b"
"""

Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write the recipe with some words changed, its boards and its picture."""

    def written(*changes: tuple[str, str], part: str = "2732") -> Path:
        text = RECIPE
        for before, after in changes:
            assert before in text
            text = text.replace(before, after)
        (tmp_path / "boards").mkdir(exist_ok=True)
        for name, device, first in (("a", "2716", "x6"), ("b", part, "x5")):
            board = GREY.replace("2716", device).replace('"x6-x9", "y5-y8"', f'"{first}-x9", "y5-y8", "bank0"')
            (tmp_path / "boards" / f"{name}.toml").write_text(board, encoding="utf-8")
        (tmp_path / "grey.pgm").write_bytes(b"P5 4 3 255\n" + bytes(range(0, 240, 20)))
        (tmp_path / "recipe.toml").write_text(text, encoding="utf-8")
        return tmp_path / "recipe.toml"

    return written


def test_each_revision_is_a_recipe_with_its_board_stages_and_folder(write: Write) -> None:
    path = write()
    first, second = load_revisions(path)
    assert [(each.revision, each.output) for each in (first, second)] == [
        ("a", path.parent / "out" / "a"),
        ("b", path.parent / "out" / "b"),
    ]
    assert [each.board.memories[0].part.number for each in (first, second)] == ["2716", "2732"]
    assert [[use.declaration.name for use in each.chain][-1] for each in (first, second)] == ["binary", "intel_hex"]
    assert [each.bank_for(each.files[0]) for each in (first, second)] == [None, 1]
    assert [each.named for each in (first, second)] == [(path.parent / "boards" / f"{n}.toml",) for n in "ab"]
    assert load(path, revision="b").title == "recipe, revision b"
    (only,) = load_revisions(path, revision="a")
    assert only.board == first.board


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ('"a 2"', "key 'a 2' cannot name a revision; use letters, digits, - and _, such as 'b'"),
        ("devices", "key 'devices' is the name of a folder of builds; choose another for the revision, such as 'b'"),
    ],
)
def test_names_that_no_revision_can_have(write: Write, name: str, message: str) -> None:
    with pytest.raises(RecipeError) as caught:
        load_revisions(write(('a = "boards', f'{name} = "boards')))
    assert message in [fault.message for fault in caught.value.faults]


def test_one_of_several_must_be_named(write: Write) -> None:
    path = write()
    with pytest.raises(UsageError, match=r"^the recipe has the revisions a and b; name one with --revision$"):
        load(path)
    with pytest.raises(UsageError, match=r"^the recipe has no revision 'B'; did you mean 'b'\?$"):
        load(path, revision="B")
    alone = write(
        ('[revisions]\na = "boards/a.toml"\nb = "boards/b.toml"', ""),
        ("format = 1", 'format = 1\nboard = "boards/a.toml"'),
        *((f'revision = "{name}"\n', "") for name in "ab"),
    )
    with pytest.raises(UsageError, match=r"^the recipe has no \[revisions\]; add them, or name none$"):
        load(alone, revision="a")


@pytest.mark.parametrize(
    ("before", "after", "lines"),
    [
        (
            "format = 1",
            'format = 1\nboard = "boards/a.toml"',
            ["5:1: the recipe has both a board and [revisions]; leave one of them out"],
        ),
        ("boards/b.toml", "boards/c.toml", ["6:5: there is no file 'boards/c.toml'; did you mean 'boards/b.toml'?"]),
        (
            'revision = "b"\n\n[[stage]]\nuse = "binary"',
            'revision = "B"\n\n[[stage]]\nuse = "binary"',
            ["23:12: revision is 'B', but the recipe has no such revision; did you mean 'b'?"],
        ),
        (
            'use = "binary"',
            'use = "binry"',
            ["26:7: no stage is called 'binry'; did you mean 'binary'?"],
        ),
        ("bank = 1", "bank = 2", ["31:8: bank is 2, but the wiring has 2 banks; use 0 to 1"]),
        (
            'b = "boards',
            'A = "boards',
            [
                "4:1: revisions has 'a' and 'A', which would share an output folder; rename one of them",
                "23:12: revision is 'b', but the recipe has no such revision; use one of A, a",
                "32:12: revision is 'b', but the recipe has no such revision; use one of A, a",
            ],
        ),
        ('a = "boards/a.toml"', "a = 3", ['5:5: a is the number 3; put it in quotes: "3"']),
    ],
)
def test_mistakes_stand_at_their_places_in_the_file_once(
    write: Write, before: str, after: str, lines: list[str]
) -> None:
    path = write((before, after))
    with pytest.raises(RecipeError) as error:
        load_revisions(path)
    assert [str(fault).removeprefix(f"{path}:") for fault in error.value.faults] == lines


def test_commands_take_all_revisions_or_one(write: Write, capsys: pytest.CaptureFixture[str]) -> None:
    path = write()

    def document(*arguments: str) -> dict:
        assert commands.main([*arguments, str(path), "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    built = document("build")
    assert list(built["revisions"]) == ["a", "b"]
    assert built["revisions"]["b"]["manifest"]["revision"] == "b"
    assert [path.name for path in (path.parent / "out" / "b" / "devices").iterdir()] == ["picture.hex"]
    assert document("build", "--revision", "b")["output"] == str(path.parent / "out" / "b")
    assert [each["picture"]["width"] for each in document("check")["revisions"].values()] == [10, 20]
    assert document("check", "--revision", "a")["picture"]["width"] == 10
    assert [each["wiring"][0]["part"] for each in document("bench")["revisions"].values()] == ["2716", "2732"]
    for command in ("burned", "check --page x.html", "bench --page x.html"):
        assert commands.main([*command.split(), str(path)]) == 2
        assert "name one with --revision" in capsys.readouterr().err
    sheet = (path.parent / "out" / "b" / "burn-sheet.txt").read_text(encoding="utf-8")
    assert sheet.startswith("Burn sheet: recipe, revision b\n")


def test_a_revision_is_named_where_it_fails_or_is_stopped_and_others_can_go_on(
    write: Write, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path, build = write(), building.build
    failing: dict[str | None, BaseException] = {"b": KeyboardInterrupt()}
    failing["b"].add_note("nothing was replaced")

    def fail(recipe, **more):
        if recipe.revision in failing:
            raise failing[recipe.revision]
        return build(recipe, **more)

    monkeypatch.setattr(building, "build", fail)
    assert commands.main(["build", str(path)]) == 130
    told = "stopped; revision a: the new build is in place; revision b: nothing was replaced"
    assert capsys.readouterr().err.splitlines()[-1] == told
    failing = {"a": PictureError("is too dark; lighten it", where="grey.pgm")}
    assert commands.main(["build", "--force", str(path)]) == 1
    assert capsys.readouterr().err == "revision a: grey.pgm: is too dark; lighten it\n"
    assert commands.main(["build", "--force", "--keep-going", "--json", str(path)]) == 1
    assert [each["ok"] for each in json.loads(capsys.readouterr().out)["revisions"].values()] == [False, True]
    failing = {}
    for command in (["build", "--force"], ["check", "--quiet", "--strict"]):
        commands.main([*command, str(path)])
        err = capsys.readouterr().err
        assert [f"revision {name}: ladder grey: white is 0.253 V" in err for name in "ab"] == [True, True]


def test_chips_are_recorded_by_revision(write: Write, capsys: pytest.CaptureFixture[str]) -> None:
    path = write()
    commands.main(["build", "--quiet", str(path)])
    assert commands.main(["burned", "--quiet", str(path), "--revision", "a"]) == 0
    (chip,) = json.loads((path.parent / "burned.json").read_text())["chips"]
    assert (chip["recipe"], chip["revision"], chip["tray"], chip["device"]) == ("recipe.toml", "a", 1, "picture")
    capsys.readouterr()
    assert commands.main(["build", "--json", "--force", str(path)]) == 0
    found = json.loads(capsys.readouterr().out)["revisions"]
    assert [each["manifest"]["devices"][0]["burn"]["text"] for each in found.values()] == [
        "holds this already",
        "no record of this chip; burn it",
    ]


def test_another_recipes_folder_around_those_of_the_revisions_is_refused(
    write: Write, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write()
    other = path.with_name("other.toml")
    text = RECIPE.replace('a = "boards/a.toml"\nb = "boards/b.toml"', "").replace("[revisions]\n", "")
    text = text.replace("format = 1", 'format = 1\nboard = "boards/a.toml"')
    other.write_text(text.replace('revision = "a"\n', "").replace('revision = "b"\n', ""), encoding="utf-8")
    assert commands.main(["build", "--quiet", str(other)]) == 0
    assert commands.main(["build", str(path)]) == 1
    assert "holds the build of another recipe" in capsys.readouterr().err
    assert not (path.parent / "out" / "a").exists()


def test_a_build_from_before_there_were_revisions_is_cautioned_of(
    write: Write, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write()
    text = path.read_text(encoding="utf-8")
    before = text.replace('[revisions]\na = "boards/a.toml"\nb = "boards/b.toml"', "")
    before = before.replace("format = 1", 'format = 1\nboard = "boards/a.toml"')
    path.write_text(before.replace('revision = "a"\n', "").replace('revision = "b"\n', ""), encoding="utf-8")
    assert commands.main(["build", "--quiet", str(path)]) == 0
    path.write_text(text, encoding="utf-8")
    capsys.readouterr()
    assert commands.main(["check", "--json", str(path), "--revision", "a"]) == 0
    found = [one for one in json.loads(capsys.readouterr().out)["findings"] if one["where"] == "output"]
    out = path.parent / "out"
    message = f"{out} still has a build from before there were revisions; burn none of it, and delete it"
    assert found == [{"level": "caution", "where": "output", "message": message}]
    assert commands.main(["build", "--quiet", str(path)]) == 0
    assert (out / "manifest.json").exists()  # it is the user's to delete
    assert (out / "b" / "manifest.json").exists()


def test_the_build_of_a_revision_that_was_renamed_is_cautioned_of(
    write: Write, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write()
    assert commands.main(["build", "--quiet", str(path)]) == 0
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("b = ", "c = ").replace('revision = "b"', 'revision = "c"'), encoding="utf-8")
    capsys.readouterr()
    assert commands.main(["build", str(path)]) == 0
    message = f"{path.parent / 'out' / 'b'} still has a build of a revision that the recipe no longer has"
    assert message in capsys.readouterr().err.replace("\n", " ")
    assert (path.parent / "out" / "b" / "manifest.json").exists()


def test_the_schema_takes_a_board_or_revisions() -> None:
    document = schema()
    assert document["required"] == ["format"]
    assert document["oneOf"] == [{"required": ["board"]}, {"required": ["revisions"]}]
