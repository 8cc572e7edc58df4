"""Damaged records and manifests: one clear line each, whatever is wrong with them."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ladderlight import commands
from ladderlight.board import Finding
from ladderlight.errors import DocumentError, LadderlightError
from ladderlight.recipe import load
from ladderlight.workspace.documents import LARGEST
from ladderlight.workspace.last_build import last_build, stale_findings
from ladderlight.workspace.manifest import read_manifest
from ladderlight.workspace.recorded import burn_findings, record_chips, recorded_chips


def run(capsys, *arguments):
    status = commands.main([*map(str, arguments)])
    captured = capsys.readouterr()
    return status, captured.out, captured.err


def device_states(capsys, path):
    _, out, _ = run(capsys, "build", path, "--json")
    return {device["name"]: device["burn"]["text"] for device in json.loads(out)["manifest"]["devices"]}


DEEP = b'{"format": 2, "chips": ' + b"[" * 100_000
DAMAGED = [
    (b"", "is empty"),
    (b" \n", "is empty"),
    ("{}".encode("utf-16"), "is not UTF-8 text from byte 0 on"),
    (b"{", "is not JSON from line 1, column 2 on"),
    (DEEP, "is nested too deeply"),
    (DEEP + b"]" * 100_000 + b"}", "is nested too deeply"),
    (b'{"format": ' + b"9" * 5000 + b"}", "has a number with too many digits"),
    (b'{"format": 2, "format": 2}', "has the key 'format' twice in one place"),
    (b"[]", "does not hold what it should"),
    (b"3", "does not hold what it should"),
    (b"NaN", "does not hold what it should"),
    (b'{"format": 99}', "format does not hold what it should"),
]


def damage(path, raw):
    if path.is_dir():
        path.rmdir()
    path.unlink(missing_ok=True)
    if raw is None:
        path.mkdir()
    else:
        path.write_bytes(raw)


@pytest.mark.parametrize(("raw", "text"), [*DAMAGED, (None, "is a folder")])
def test_a_damaged_record_is_one_caution_and_is_kept(project, capsys, tmp_path, raw, text):
    lobby, path = project("lobby"), tmp_path / "burned.json"
    damage(path, raw)
    for command in ("check", "build"):
        status, out, err = run(capsys, command, lobby, "--json")
        assert status == 0
        cautions = [item for item in json.loads(out)["findings"] if item["where"] == str(path)]
        (caution,) = cautions
        assert caution["level"] == "caution"
        assert caution["message"].startswith(f"{text}; record the chips again with ladderlight burned")
        assert command == "check" or err.count(str(path)) == 1
    status, _, err = run(capsys, "burned", lobby)
    assert (status, err.strip()) == (
        0,
        f"caution {path}: {text}; kept as burned-damaged.json, and the record begins anew",
    )
    kept = tmp_path / "burned-damaged.json"
    assert kept.is_dir() if raw is None else kept.read_bytes() == raw
    assert burn_findings(load(lobby)) == []
    damage(path, b"{")
    run(capsys, "burned", lobby)
    assert (tmp_path / "burned-damaged-2.json").read_bytes() == b"{"


OTHER = [
    (b'{"format": 2, "format": 2}', "has the key 'format' twice in one place"),
    (b'{"format": 99}', "format does not hold what it should"),
    (b'{"format": 1, "devices": 3, "pictures": []}', "devices does not hold what it should"),
]
"""Whole JSON objects that may be another program's: a build does not replace them."""


@pytest.mark.parametrize(
    ("raw", "text"),
    [
        *(item for item in DAMAGED if item not in OTHER),
        (b'{"format": 1, "project": "a", "devices": [3], "pictures": []}', "devices[0] does not hold what it should"),
    ],
)
def test_a_damaged_manifest_is_one_caution_and_one_error(project, capsys, tmp_path, raw, text):
    lobby = project("lobby")
    run(capsys, "burned", lobby)
    path = tmp_path / "lobby-out" / "manifest.json"
    path.write_bytes(raw)
    status, out, _ = run(capsys, "check", lobby, "--json")
    assert status == 0
    (caution,) = [item for item in json.loads(out)["findings"] if item["where"] == str(path)]
    assert (caution["level"], caution["message"]) == ("caution", f"{text}; build again")
    status, out, err = run(capsys, "burned", lobby)
    assert (status, out, err) == (1, "", f"{path}: {text}; build again\n")


@pytest.mark.parametrize(("raw", "text"), OTHER)
def test_a_manifest_that_may_be_of_another_program_is_one_error(project, capsys, tmp_path, raw, text):
    lobby = project("lobby")
    path = tmp_path / "lobby-out" / "manifest.json"
    path.write_bytes(raw)
    status, out, _ = run(capsys, "check", lobby, "--json")
    assert status == 1
    (refusal,) = [item for item in json.loads(out)["findings"] if item["where"] == str(path)]
    assert (refusal["level"], refusal["message"]) == (
        "error",
        "is not the manifest of a build; move it away or choose another output folder",
    )
    status, out, err = run(capsys, "burned", lobby)
    assert (status, out, err) == (1, "", f"{path}: {text}; build again\n")
    assert path.read_bytes() == raw


def test_a_file_that_is_far_too_large_is_not_read(project, tmp_path):
    lobby = project("lobby")
    with (tmp_path / "burned.json").open("wb") as file:
        file.truncate(LARGEST + 1)
    (caution,) = recorded_chips(load(lobby)).findings
    assert caution.message.startswith("has 268,435,457 bytes, too many for such a file")


def test_a_record_without_permission_is_left_alone(project, capsys, tmp_path, monkeypatch):
    lobby, path = project("lobby"), tmp_path / "burned.json"
    run(capsys, "burned", lobby)
    held, read = path.read_bytes(), Path.read_bytes

    def refused(self):
        if self == path:
            raise PermissionError(13, "Permission denied")
        return read(self)

    monkeypatch.setattr(Path, "read_bytes", refused)
    (caution,) = recorded_chips(load(lobby)).findings
    assert caution.message == "cannot be read (Permission denied); check its permissions"
    status, _, err = run(capsys, "burned", lobby)
    assert (status, err) == (1, f"{path}: cannot be read (Permission denied); check its permissions\n")
    monkeypatch.undo()
    assert path.read_bytes() == held
    assert sorted(item.name for item in tmp_path.glob("burned*")) == ["burned.json"]


def test_one_damaged_image_concerns_its_chip_alone(project, capsys, tmp_path):
    lobby, office = project("lobby"), project("office")
    run(capsys, "burned", lobby)
    run(capsys, "burned", office)
    record = json.loads((tmp_path / "burned.json").read_text())
    record["chips"][0]["sha256"] = "0" * 64
    (tmp_path / "burned.json").write_text(json.dumps(record))
    (caution,) = recorded_chips(load(lobby)).findings
    assert caution.message == "the image of device 'picture' is damaged; record this chip again"
    assert device_states(capsys, office) == {"picture": "holds this already"}
    run(capsys, "burned", lobby)
    assert device_states(capsys, lobby) == {"picture": "holds this already"}


@pytest.mark.parametrize("name", ["../lobby.toml", "/dev/zero", "a\0b", "", "a\nb"])
def test_a_manifest_leads_to_no_file_outside_its_folder(project, tmp_path, name):
    lobby = project("lobby")
    path = tmp_path / "lobby-out" / "manifest.json"
    document = json.loads(path.read_text())
    document["devices"][0]["pieces"][0]["file"] = name
    path.write_text(json.dumps(document))
    with pytest.raises(DocumentError, match=r"names a device file .* outside its folder; build again"):
        read_manifest(tmp_path / "lobby-out")
    assert load(lobby) is not None


VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**40), 10**40),
    st.floats(),
    st.text(max_size=5),
    st.just([]),
    st.just({}),
    st.just({"format": 2}),
    st.just(["devices"]),
    st.just("\ud800"),
)


def places(document, path=()):
    """Every place in a document."""
    yield path
    items = (
        document.items() if isinstance(document, dict) else enumerate(document) if isinstance(document, list) else ()
    )
    for key, value in items:
        yield from places(value, (*path, key))


def mutated(document, place, value, delete):
    if not place:
        return value
    document = json.loads(json.dumps(document))
    inner = document
    for key in place[:-1]:
        inner = inner[key]
    if delete:
        del inner[place[-1]]
    else:
        inner[place[-1]] = value
    return document


@pytest.fixture
def recorded_project(project, capsys):
    lobby = project("lobby")
    run(capsys, "burned", lobby)
    return load(lobby)


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_no_change_of_a_value_gets_past_the_check(recorded_project, data):
    recipe = recorded_project
    files = [recipe.folder / "burned.json", recipe.output / "manifest.json"]
    held = [path.read_bytes() for path in files]
    which = data.draw(st.integers(0, 1))
    document = json.loads(held[which])
    place = data.draw(st.sampled_from(list(places(document))))
    changed = mutated(document, place, data.draw(VALUES), data.draw(st.booleans()))
    files[which].write_text(json.dumps(changed))
    try:
        survives(recipe)
    finally:
        for path, raw in zip(files, held, strict=True):
            path.write_bytes(raw)
        for path in recipe.folder.glob("burned-*"):
            path.unlink()


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**32), which=st.integers(0, 1), count=st.integers(1, 4))
def test_no_change_of_bytes_gets_past_the_check(recorded_project, seed, which, count):
    recipe, rng = recorded_project, random.Random(seed)
    files = [recipe.folder / "burned.json", recipe.output / "manifest.json"]
    held = [path.read_bytes() for path in files]
    raw = bytearray(held[which])
    for _ in range(count):
        at = rng.randrange(len(raw))
        raw[at : at + rng.randrange(3)] = rng.randbytes(rng.randrange(3))
    files[which].write_bytes(raw[: rng.randrange(len(raw))] if rng.random() < 0.2 else raw)
    try:
        survives(recipe)
    finally:
        for path, data in zip(files, held, strict=True):
            path.write_bytes(data)
        for path in recipe.folder.glob("burned-*"):
            path.unlink()


def survives(recipe):
    """Read both files as the commands do: one line for each at most, and nothing but expected errors."""
    found = [*stale_findings(recipe), *burn_findings(recipe)]
    assert all(isinstance(item, Finding) and "\n" not in item.message for item in found)
    assert "pydantic" not in str(found)
    for path in (recipe.folder / "burned.json", recipe.output / "manifest.json"):
        assert len([item for item in found if item.where == str(path)]) <= 1
    try:
        record_chips(recipe, last_build(recipe.output, recipe.board))
    except LadderlightError as error:
        assert len(error.faults) == 1
        assert "\n" not in str(error)
        return
    assert recorded_chips(recipe).findings == ()
