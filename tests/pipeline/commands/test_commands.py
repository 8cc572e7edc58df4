"""The command line: what it prints where, and its exit status."""

from __future__ import annotations

import json
import shutil
import tomllib
import zlib
from collections.abc import Sequence
from pathlib import Path

import pytest

from ladderlight.commands import main

LANTERN = Path(__file__).parents[2] / "recipes" / "lantern"
Run = tuple[int, str, str]


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A copy of a small recipe, to build in."""
    folder = tmp_path / "lantern"
    shutil.copytree(LANTERN, folder, ignore=shutil.ignore_patterns("out", "__pycache__"))
    return folder


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> object:
    """Run a command line and give its status, stdout and stderr."""

    def call(*arguments: str | Path) -> Run:
        status = main([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return status, captured.out, captured.err

    return call


def change(recipe: Path, old: str, new: str) -> None:
    text = recipe.read_text()
    assert old in text
    recipe.write_text(text.replace(old, new))


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (["biuld"], "there is no command 'biuld'; did you mean 'build'?"),
        (["build", "a.toml", "--wrokers", "3"], "--wrokers: there is no such option; did you mean '--workers'?"),
        (["build", "a.toml", "--workers", "0"], "--workers: '0' is not valid; give a whole number of 1 or more"),
        (["build", "a.toml", "--workers=x"], "--workers: 'x' is not valid; give a whole number of 1 or more"),
        (["burned", "a.toml", "--tray", "x"], "--tray: 'x' is not valid; give a whole number of 1 or more"),
        (["build", "a.toml", "b.toml"], "b.toml: one argument too many; put a name with spaces in quotes"),
        (["check", "--page"], "--page: this option needs a value; give a path"),
        (["check", "--json=1"], "--json: this option takes no value; write it alone"),
        (["start"], "DIR: missing; give a path"),
        (["ladder"], "--bits: missing; give a whole number from 1 to 8"),
        (["ladder", "--bits", "9"], "--bits: '9' is not valid; give a whole number from 1 to 8"),
        (["ladder", "--bits", "2", "--even", "x"], "--even: 'x' is not valid; give one of volts, perceptual"),
        (
            ["ladder", "--bits", "2", "--supply", "x"],
            "--supply: it is 'x', which is not a voltage; write a voltage such as \"5 V\"",
        ),
        (
            ["ladder", "--bits", "2", "--pairs", "--r2r"],
            "--pairs: cannot be used with --r2r; leave one of the two out",
        ),
    ],
)
def test_wrong_usage_is_one_line_of_ours_and_status_2(run, arguments: Sequence[str], line: str) -> None:
    assert run(*arguments) == (2, "", f"{line}\n")
    status, out, err = run(arguments[0], "--json", *arguments[1:])
    where, _, message = line.partition(": ") if line[0] != "t" else ("", "", line)
    assert (status, err) == (2, f"{line}\n")
    assert json.loads(out) == {"ok": False, "findings": [{"level": "error", "where": where, "message": message}]}


def test_no_arguments_show_the_help(run) -> None:
    status, out, err = run()
    assert status == 2
    assert "build" in out + err


@pytest.mark.parametrize("command", ["burned", "compare", "decode"])
def test_the_help_names_arguments_by_words(run, command: str) -> None:
    status, out, _ = run(command, "--help")
    assert status == 0
    assert "[RECIPE]" in out
    assert "<" not in out


def test_build_prints_the_paths_and_they_exist(run, project: Path) -> None:
    status, out, _ = run("build", project / "recipe.toml")
    assert status == 0
    state, *lines, built = out.splitlines()
    assert state == "picture: 27C512, no record of this chip; burn it"
    assert built == "2 pictures in 1 chip"
    paths = [Path(line.split("  ")[0]) for line in lines]
    assert [path.name for path in paths] == ["picture.bin", "burn-sheet.txt", "index.html"]
    assert paths[0].stat().st_size == 65536
    assert all(path.is_file() for path in paths)


def test_build_prints_the_sums_of_each_file_itself(run, project: Path) -> None:
    recipe = project / "recipe.toml"
    recipe.write_text(
        recipe.read_text()
        + '\n[[stage]]\nuse = "binary"\nsize = 32768\nname = "{piece}.bin"\n[[stage]]\nuse = "indexed_png"\n'
    )
    _, out, _ = run("build", recipe)
    for line in out.splitlines():
        path, _, sums = line.partition("  ")
        if path.endswith(".bin"):
            data = Path(path).read_bytes()
            assert sums == f"CRC-32 {zlib.crc32(data):08X}, sum {sum(data) & 0xFFFF:04X}"
        else:
            assert sums == ""
    assert [name for name in ("picture.bin", "0.bin", "1.bin", "bank0.png", "bank1.png") if f"/{name}" in out] == [
        "picture.bin",
        "0.bin",
        "1.bin",
        "bank0.png",
        "bank1.png",
    ]


def test_build_json_is_one_document_and_nothing_else(run, project: Path) -> None:
    status, out, _ = run("build", project / "recipe.toml", "--json")
    document = json.loads(out)
    assert status == 0
    (device,) = document["manifest"]["devices"]
    assert device["part"] == "27C512"
    assert device["bytes"] == 65536
    assert [picture["name"] for picture in document["manifest"]["pictures"]] == ["chart", "lighthouse"]
    assert json.loads((project / "out" / "manifest.json").read_text()) == document["manifest"]


def test_check_json_has_the_promised_keys(run, project: Path) -> None:
    status, out, _ = run("check", project / "recipe.toml", "--json")
    document = json.loads(out)
    assert (status, document["ok"]) == (0, True)
    picture = document["picture"]
    assert [picture[key] for key in ("width", "height", "repeat_x", "repeat_y", "pixel_aspect")] == [80, 60, 8, 8, 1.0]
    assert len(document["palette"]) == 64
    assert document["palette"][63]["srgb"] == "#fefefe"  # 7650/10973 V of 0.7 V is 99.60 % of full drive
    assert document["palette"][63]["volts"] == pytest.approx([7650 / 10973] * 3, abs=1e-6)
    for key in ("raster", "memories", "devices", "timing", "findings"):
        assert key in document


def test_check_of_an_impossible_board_is_status_1(run, project: Path) -> None:
    change(project / "recipe.toml", '"x3-x9"', '"x3-x12"')
    status, out, err = run("check", project / "recipe.toml")
    assert (status, out) == (1, "")
    assert f"{project / 'recipe.toml'}:18:12: A7 to A9: x10 to x12 never change" in err


def test_check_json_of_a_bad_recipe_is_a_document_of_findings(run, project: Path) -> None:
    recipe = project / "recipe.toml"
    change(recipe, "reach = 0.6", "raech = 0.6")
    status, out, err = run("check", recipe, "--json")
    document = json.loads(out)
    assert (status, document["ok"]) == (1, False)
    (finding,) = document["findings"]
    assert (finding["level"], finding["where"]) == ("error", f"{recipe}:37:1")
    assert err.strip() == f"{finding['where']}: {finding['message']}"
    assert "did you mean 'reach'?" in finding["message"]


def test_schema_is_a_json_schema_that_knows_the_stages(run) -> None:
    status, out, _ = run("schema")
    document = json.loads(out)
    assert status == 0
    assert document["$schema"].startswith("https://json-schema.org/")
    assert '"floyd_steinberg"' in out


def test_errors_of_a_recipe_are_reported_all_at_once(run, project: Path) -> None:
    recipe = project / "recipe.toml"
    change(recipe, 'clock = "25.175 MHz"', 'clock = "25.175 ohm"')
    change(recipe, "reach = 0.6", "raech = 0.6")
    change(recipe, 'use = "diffuse"', 'use = "difuse"')
    status, _, err = run("build", recipe)
    assert status == 1
    assert len(err.splitlines()) == 3
    assert all(line.startswith(f"{recipe}:") for line in err.splitlines())
    assert not (project / "out").exists()


def test_a_bug_in_a_stage_is_status_3_and_names_stage_and_plugin(run, project: Path) -> None:
    change(project / "lantern.py", "height, width = ", "height, width, depth = ")
    status, out, err = run("build", project / "recipe.toml")
    assert (status, out) == (3, "")
    assert "bug: stage 'lantern' of plugin 'lantern.py' failed on pictures/chart.png: ValueError" in err
    assert "Traceback" in err


def test_bad_pictures_are_all_listed_and_the_old_output_stays(run, project: Path) -> None:
    assert run("build", project / "recipe.toml")[0] == 0
    before = {path: path.read_bytes() for path in (project / "out").rglob("*") if path.is_file()}
    (project / "pictures" / "a.png").write_bytes(b"not a picture")
    (project / "pictures" / "z.png").write_bytes(b"")
    status, _, err = run("build", project / "recipe.toml")
    assert status == 1
    assert [line.split(":")[0] for line in err.splitlines()] == ["pictures/a.png", "pictures/z.png"]
    assert before == {path: path.read_bytes() for path in (project / "out").rglob("*") if path.is_file()}


def test_start_makes_a_project_that_builds(run, tmp_path: Path) -> None:
    status, out, _ = run("start", tmp_path / "new", "--json")
    assert status == 0
    recipe = Path(json.loads(out)["recipe"])
    assert json.loads(out)["files"][:2] == [str(recipe), str(recipe.parent / "recipe.schema.json")]
    assert recipe.read_text(encoding="utf-8").startswith("#:schema ./recipe.schema.json\n")
    assert (recipe.parent / "recipe.schema.json").read_text(encoding="utf-8") == run("schema")[1]
    status, out, _ = run("build", recipe)
    assert status == 0
    assert (recipe.parent / "out" / "devices" / "picture.bin").stat().st_size == 131072


def test_start_does_not_write_into_a_full_folder(run, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    status, _, err = run("start", tmp_path)
    assert status == 2
    assert "is not an empty folder" in err
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_stages_lists_all_by_kind(run) -> None:
    status, out, _ = run("stages")
    assert status == 0
    kinds = [line.split(":")[0] for line in out.splitlines() if line and not line.startswith((" ", "ladderlight"))]
    order = ["source", "card", "picture", "reduction", "coded", "arrangement", "emission"]
    assert kinds == [kind for kind in order if kind in kinds]
    assert "  diffuse" in out


def test_one_stage_is_described_with_its_options(run) -> None:
    status, out, _ = run("stages", "diffuse", "--json")
    document = json.loads(out)
    assert (status, document["kind"]) == (0, "reduction")
    kernel = next(option for option in document["options"] if option["name"] == "kernel")
    assert '"stucki"' in kernel["type"]
    assert document["example"]["use"] == "diffuse"


def test_the_description_of_a_stage_ends_with_an_example_for_a_recipe(run) -> None:
    status, out, _ = run("stages", "crop")
    (table,) = tomllib.loads(out[out.index("[[stage]]") :])["stage"]
    assert (status, table["use"], table["keep"]) == (0, "crop", "focus")


def test_an_unknown_stage_is_named_with_the_nearest(run) -> None:
    status, _, err = run("stages", "crpo")
    assert status == 1
    assert "did you mean 'crop'?" in err


@pytest.mark.parametrize(
    ("arguments", "where"),
    [
        (["build", "nowhere.toml"], "nowhere.toml"),
        (["check", "nowhere.toml"], "nowhere.toml"),
        (["burned", "nowhere.toml"], "nowhere.toml"),
        (["compare", "nowhere.toml", "dump.bin"], "nowhere.toml"),
        (["decode", "nowhere.toml", "dump.bin"], "nowhere.toml"),
        (["stages", "difuse"], ""),
        (["ladder", "--bits", "2", "--peak", "9"], ""),
    ],
)
def test_what_goes_wrong_is_one_json_document_too(run, arguments: list[str], where: str) -> None:
    status, out, err = run(*arguments, "--json")
    assert status in (1, 2)
    document = json.loads(out)
    assert document["ok"] is False
    (finding,) = document["findings"]
    assert finding["level"] == "error"
    assert finding["where"] == where
    assert f"{where}: {finding['message']}\n" == err if where else f"{finding['message']}\n" == err


def test_check_tells_that_two_stages_would_write_one_file(run, project: Path) -> None:
    recipe = project / "recipe.toml"
    with recipe.open("a") as file:
        file.write('\n[[stage]]\nuse = "binary"\n\n[[stage]]\nuse = "binary"\n')
    status, out, _ = run("check", recipe, "--json")
    document = json.loads(out)
    assert (status, document["ok"]) == (1, False)
    (finding,) = [finding for finding in document["findings"] if finding["level"] == "error"]
    assert "would both write devices/" in finding["message"]


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (["start", "new"], 0),
        (["start", "."], 2),
        (["check"], 0),
        (["build"], 0),
        (["build", "a", "b"], 2),
        (["burned"], 0),
        (["burned", "pictur"], 2),
        (["compare", "out/devices/picture.bin"], 0),
        (["compare", "blank.bin"], 1),
        (["compare", "short.bin"], 2),
        (["compare"], 2),
        (["decode", "out/devices/picture.bin"], 0),
        (["decode", "short.bin"], 2),
        (["ladder", "--bits", "2"], 0),
        (["ladder", "--bits", "2", "--peak", "9"], 1),
        (["ladder", "--bits", "x"], 2),
        (["stages"], 0),
        (["stages", "lantern"], 0),
        (["stages", "lantren"], 1),
        (["check", "nowhere"], 1),
        (["biuld"], 2),
        (["schema"], 2),
    ],
)
def test_there_is_one_document_with_ok_whatever_happens(
    run, project: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], status: int
) -> None:
    monkeypatch.chdir(project)
    if arguments[0] in ("burned", "compare", "decode"):
        assert run("build", "-q")[0] == 0
    (project / "blank.bin").write_bytes(b"\xff" * 65536)
    (project / "short.bin").write_bytes(b"\xff" * 100)
    got, out, err = run(*arguments, "--json")
    document = json.loads(out)  # raises when anything stands beside it
    assert (got, document["ok"]) == (status, status == 0), err
    if status == 2 or "nowhere" in arguments:
        assert {"level", "where", "message"} == set(document["findings"][0])
    assert run(*arguments)[0] == (status if arguments != ["schema"] else 0) or arguments == ["start", "new"]


@pytest.mark.parametrize("command", ["check", "build", "burned", "compare", "decode", "ladder", "stages", "start"])
def test_a_bug_gives_a_document_too(
    run, project: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, command: str
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("3: of \x1b[31m the sort")

    monkeypatch.chdir(project)
    for place in (
        "recipe.load",
        "recipe.load_revisions",
        "board.ladders.design.design",
        "stages.registry.installed_stages",
        "starter.write_project",
    ):
        monkeypatch.setattr(f"ladderlight.{place}", fail)
    arguments = {"compare": ["a"], "decode": ["a"], "ladder": ["--bits", "2"], "start": ["new"]}.get(command, [])
    status, out, err = run(command, *arguments, "--json")
    message = "bug: ZeroDivisionError: 3: of \x1b[31m the sort; please report it with the lines above"
    assert status == 3
    assert json.loads(out) == {"ok": False, "findings": [{"level": "error", "where": "", "message": message}]}
    assert "\x1b" not in err
    assert "Traceback" in err


def test_a_failing_stage_and_bad_pictures_give_a_document(run, project: Path) -> None:
    plugin = project / "lantern.py"
    text = plugin.read_text()
    plugin.write_text(text.replace("height, width = ", "height, width, depth = "))
    status, out, _ = run("build", project, "--json")
    assert (status, json.loads(out)["ok"]) == (3, False)
    plugin.write_text(text)
    (project / "pictures" / "a: 3:2.png").write_bytes(b"not a picture")
    status, out, _ = run("build", project, "--json")
    (finding,) = json.loads(out)["findings"]
    assert (status, finding["where"]) == (1, "pictures/a: 3:2.png")


def test_stages_of_the_recipe_in_the_folder_are_found(run, project: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run("stages", "lantern")[0] == 1
    monkeypatch.chdir(project)
    assert run("stages", "lantern")[1].splitlines()[0] == "lantern  picture: picture to picture"
    assert [line for line in run("stages")[1].splitlines() if line.endswith("(lantern.py)")]
    (project / "elsewhere.py").write_text("raise SystemExit('loaded, and nobody named it')\n")
    (project / "recipe.toml").write_text('plugins = ["lantern.py", "lost.py"]\n[board]\n')
    status, out, err = run("stages", "lantern")
    assert (status, out.splitlines()[0]) == (0, "lantern  picture: picture to picture")
    assert err.startswith("warning: recipe.toml:1:26: there is no file 'lost.py'")


def test_verbose_builds_show_every_picture_with_its_measures(run, project: Path) -> None:
    plain = run("build", project)[1].splitlines()
    out = run("build", project, "-v")[1].splitlines()
    told = [line for line in out if line not in plain and "pictures/" in line]
    assert [line.split(",")[0] for line in told] == ["pictures/chart.png: bank 0", "pictures/lighthouse.png: bank 1"]
    measures = json.loads((project / "out" / "manifest.json").read_text())["pictures"][0]["metrics"]
    assert f"colours_used {measures['colours_used']}" in told[0]
