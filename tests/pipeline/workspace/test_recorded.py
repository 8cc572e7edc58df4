"""The record of a folder's chips: whose they are, two that record at once, and locks."""

from __future__ import annotations

import json
import multiprocessing
import os
import time
from pathlib import Path

import pytest

from ladderlight import commands
from ladderlight.errors import BuildError
from ladderlight.recipe import load
from ladderlight.workspace import recorded
from ladderlight.workspace.last_build import last_build
from ladderlight.workspace.recorded import burn_findings, key_of, record_chips, recorded_chips


def run(capsys, *arguments):
    status = commands.main([*map(str, arguments)])
    captured = capsys.readouterr()
    return status, captured.out, captured.err


def device_states(capsys, path):
    _, out, _ = run(capsys, "build", path, "--json")
    return {device["name"]: device["burn"]["text"] for device in json.loads(out)["manifest"]["devices"]}


def legacy(path, *entries):
    """Turn a record into one of format 1."""
    chips = json.loads(path.read_text())["chips"]
    held = {chip["device"]: {key: chip[key] for key in chip if key not in OF_FORMAT_2} for chip in chips}
    path.write_text(json.dumps({"format": 1, "devices": held}, indent=2))


OF_FORMAT_2 = ("recipe", "device", "inputs", "versions")


def test_two_recipes_in_one_folder_do_not_judge_each_others_chips(project, capsys, tmp_path):
    lobby, office = project("lobby"), project("office", picture="light")
    assert run(capsys, "burned", lobby)[0] == 0
    assert device_states(capsys, office) == {"picture": "no record of this chip; burn it"}
    before = json.loads((tmp_path / "burned.json").read_text())["chips"][0]
    assert run(capsys, "burned", office)[0] == 0
    after = (tmp_path / "burned.json").read_text()
    assert json.dumps(before, indent=2).replace("\n", "\n    ") in after
    assert [chip["recipe"] for chip in json.loads(after)["chips"]] == ["lobby.toml", "office.toml"]
    assert device_states(capsys, lobby) == device_states(capsys, office) == {"picture": "holds this already"}
    assert burn_findings(load(lobby)) == []


def test_a_changed_part_needs_a_new_chip(project, capsys):
    lobby = project("lobby")
    run(capsys, "burned", lobby)
    project("lobby", part="2732")
    assert device_states(capsys, lobby) == {"picture": "the recorded chip is a 2716; a new 2732 is needed"}
    (note,) = burn_findings(load(lobby))
    assert (note.level, note.where, note.message) == (
        "note",
        "device picture",
        "the recorded chip is a 2716; a new 2732 is needed",
    )


def test_a_record_of_format_1_belongs_to_the_only_recipe_with_its_devices(project, capsys, tmp_path):
    lobby = project("lobby")
    run(capsys, "burned", lobby)
    legacy(tmp_path / "burned.json")
    project("hall", memory="map", build=False)  # another device
    project("stairs", part="2732", build=False)  # another part
    (tmp_path / "other-program.toml").write_text("[tool]\nx = 1\n")
    assert device_states(capsys, lobby) == {"picture": "holds this already"}
    assert recorded_chips(load(lobby)).findings == ()
    run(capsys, "burned", tmp_path / "lobby.toml")
    (chip,) = json.loads((tmp_path / "burned.json").read_text())["chips"]
    assert chip["recipe"] == "lobby.toml"


def test_a_record_of_format_1_that_two_recipes_may_mean_is_doubtful(project, capsys, tmp_path):
    lobby, office = project("lobby"), project("office", picture="light")
    run(capsys, "burned", lobby)
    legacy(tmp_path / "burned.json")
    old = json.loads((tmp_path / "burned.json").read_text())["devices"]["picture"]
    for path, other in ((lobby, office), (office, lobby)):
        assert device_states(capsys, path) == {"picture": "no record of this chip; burn it"}
        (caution,) = burn_findings(load(path))
        assert (caution.level, caution.where) == ("caution", str(tmp_path / "burned.json"))
        assert caution.message == (
            f"picture may belong to {path.name} or to {other.name}; record these chips again with ladderlight burned"
        )
    run(capsys, "burned", office)
    chips = json.loads((tmp_path / "burned.json").read_text())["chips"]
    assert chips[0] == {"device": "picture"} | old  # kept
    assert chips[1]["recipe"] == "office.toml"
    assert device_states(capsys, office) == {"picture": "holds this already"}
    assert len(burn_findings(load(lobby))) == 1


@pytest.mark.parametrize("text", ["[board\n", "format = 1\nboard = 5\n", 'board = "none.toml"\n', "board = {}\n"])
def test_a_recipe_that_cannot_be_read_may_have_any_device(project, capsys, tmp_path, text):
    lobby = project("lobby")
    run(capsys, "burned", lobby)
    legacy(tmp_path / "burned.json")
    (tmp_path / "broken.toml").write_text(text)
    (caution,) = burn_findings(load(lobby))
    assert "may belong to lobby.toml or to broken.toml" in caution.message


def test_a_recipe_whose_name_is_not_utf_8_has_a_key_of_its_own(project, tmp_path):
    lobby = project("lobby")
    odd = tmp_path / os.fsdecode(b"h\xe9ll.toml")
    odd.write_bytes(lobby.read_bytes())
    recipe = load(odd)
    assert key_of(recipe) == "h\\xe9ll.toml"
    record_chips(recipe, last_build(recipe.output, recipe.board))
    assert list(recorded_chips(recipe).of_tray()) == ["picture"]
    assert recorded_chips(load(lobby)).chips == ()


def _record(path, start):
    recipe = load(Path(path))
    build = last_build(recipe.output, recipe.board)
    write = recorded.write_whole
    recorded.write_whole = lambda *arguments: (time.sleep(0.2), write(*arguments))
    start.wait()
    record_chips(recipe, build)


def test_two_that_record_at_once_lose_nothing(project, tmp_path):
    paths = [project(name) for name in ("lobby", "office", "hall")]
    context = multiprocessing.get_context("fork")
    start = context.Barrier(len(paths))
    workers = [context.Process(target=_record, args=(path, start)) for path in paths]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert [worker.exitcode for worker in workers] == [0, 0, 0]
    chips = json.loads((tmp_path / "burned.json").read_text())["chips"]
    assert sorted(chip["recipe"] for chip in chips) == ["hall.toml", "lobby.toml", "office.toml"]
    assert not list(tmp_path.glob(".*"))


def test_a_folder_that_cannot_be_locked_is_written_all_the_same(project, capsys, tmp_path, monkeypatch):
    lobby = project("lobby")

    def refused(path, *arguments):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(recorded.os, "open", refused)
    recipe = load(lobby)
    with recorded._alone_in(recipe.folder):
        (tmp_path / "within").write_text("reached")
    assert (tmp_path / "within").exists()


@pytest.mark.skipif(os.name == "nt", reason="a folder cannot be locked there")
def test_a_folder_that_stays_locked_is_one_line(project, monkeypatch):
    recipe = load(project("lobby"))
    monkeypatch.setattr(recorded, "_PATIENCE", 0.1)
    again = pytest.raises(BuildError, match="another program records chips here; try again")
    with recorded._alone_in(recipe.folder), again, recorded._alone_in(recipe.folder):
        pass
