"""Chips in which nothing is wrong but that hold other contents: said before any fault is."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pytest
from PIL import Image

from ladderlight import commands

RECIPE = """
format = 1

[project]
name = "Merrowhithe stairs"
output = "{name}-out"

[board]
mode = "640x480@60"
clock = "25.175 MHz"
blanking = "output-enable"

[[board.memory]]
name = "lower"
part = "{part}"
address = ["x4-x9", "y4-y8", "bank0-bank1"]
data = ["b0-b1", "g0-g1"]

[[board.memory]]
name = "upper"
part = "28C64"
address = ["x4-x9", "y4-y8", "bank0-bank1"]
data = ["r0-r1"]

[board.ladder]
supply = "5 V"
driver = "40 ohm"
red   = {{ r0 = "2k", r1 = "1k" }}
green = {{ g0 = "2k", g1 = "1k" }}
blue  = {{ b0 = "2k", b1 = "1k" }}

[pictures]
files = [{files}]

[[stage]]
use = "resize"

[[stage]]
use = "diffuse"

[[stage]]
use = "bank_pictures"

[[stage]]
use = "binary"
"""
PICTURES = ("chelsea", "coffee", "rocket", "astronaut", "coins", "moon", "camera", "brick")


@pytest.fixture(scope="module")
def pictures(tmp_path_factory):
    """Photographs and drawings of forty pixels by thirty, kept as files."""
    from skimage import data

    folder = tmp_path_factory.mktemp("pictures")
    for name in PICTURES:
        Image.fromarray(getattr(data, name)()).convert("RGB").resize((40, 30)).save(folder / f"{name}.png")
    return folder


@pytest.fixture
def project(tmp_path, pictures, capsys):
    """Write and build a recipe of a name with some pictures; gives its path and its devices' files."""
    shutil.copytree(pictures, tmp_path, dirs_exist_ok=True)

    def make(name, names, part="28C64"):
        path = tmp_path / f"{name}.toml"
        files = ", ".join(f'"{picture}.png"' for picture in names)
        path.write_text(RECIPE.format(name=name, files=files, part=part), encoding="utf-8")
        assert commands.main(["build", str(path)]) == 0
        capsys.readouterr()
        return path, tmp_path / f"{name}-out" / "devices"

    return make


@pytest.fixture
def compared(capsys):
    def run(recipe, dump, *more):
        status = commands.main(["compare", str(recipe), str(dump), "--json", *more])
        captured = capsys.readouterr()
        assert status == 1, captured.err
        return json.loads(captured.out)

    return run


def held(devices, name, tmp_path):
    """Read a chip that was burned with a file."""
    shutil.copy(devices / f"{name}.bin", tmp_path / "read.bin")
    return tmp_path / "read.bin"


def notes(document):
    return [item["message"] for item in document["findings"] if item["level"] == "note"]


@pytest.mark.parametrize("names", [PICTURES[:4], PICTURES[4:8], PICTURES[3::-1], PICTURES[:2], PICTURES[2:4]])
def test_the_previous_build_is_said_before_any_fault(project, compared, capsys, tmp_path, names):
    recipe, devices = project("stairs", names)
    dumps = {name: tmp_path / f"{name}.dump" for name in ("lower", "upper")}
    for name, dump in dumps.items():
        shutil.copy(devices / f"{name}.bin", dump)
    commands.main(["burned", str(recipe)])
    project("stairs", PICTURES[1:5])
    capsys.readouterr()
    for name, dump in dumps.items():
        before = np.fromfile(dump, np.uint8)
        document = compared(recipe, dump, "--device", name)
        first = document["diagnoses"][0]
        assert first["kind"] == "earlier_burn"
        assert first["text"] == "the chip holds the previous build, as recorded when it was burned"
        assert (first["explained"], first["confidence"]) == (1, 1)
        assert document["count"] == int((before != np.fromfile(devices / f"{name}.bin", np.uint8)).sum())
        assert notes(document) == []


def test_a_few_worn_bits_do_not_hide_the_previous_build(project, compared, tmp_path, capsys):
    recipe, devices = project("stairs", PICTURES[:4])
    image = np.fromfile(devices / "lower.bin", np.uint8)
    commands.main(["burned", str(recipe)])
    project("stairs", PICTURES[4:8])
    capsys.readouterr()
    image[np.random.default_rng(1).choice(image.size, 30, replace=False)] ^= 4
    image.tofile(tmp_path / "read.bin")
    first = compared(recipe, tmp_path / "read.bin", "--device", "lower")["diagnoses"][0]
    assert first["kind"] == "earlier_burn"
    assert 0.98 < first["explained"] < 1


def test_without_a_record_an_earlier_build_cannot_be_recognised_which_is_said(project, compared, tmp_path):
    recipe, devices = project("stairs", PICTURES[:4])
    dump = held(devices, "lower", tmp_path)
    project("stairs", PICTURES[4:8])
    document = compared(recipe, dump, "--device", "lower")
    assert document["diagnoses"] == []
    assert notes(document) == [
        "no record of what this chip held, so an earlier build cannot be recognised; "
        "use ladderlight burned after each burning"
    ]


def test_another_devices_contents_are_said_before_any_fault(project, compared, tmp_path):
    """The parts differ in number, not in size."""
    recipe, devices = project("stairs", PICTURES[:4], part="2764")
    document = compared(recipe, held(devices, "upper", tmp_path), "--device", "lower")
    first = document["diagnoses"][0]
    assert (first["kind"], first["text"]) == ("other_device", "the chip holds what device 'upper' should hold")
    assert first["explained"] == 1


def test_current_contents_of_another_device_are_not_called_previous(project, compared, tmp_path, capsys):
    recipe, devices = project("stairs", PICTURES[:4])
    commands.main(["burned", str(recipe)])
    capsys.readouterr()
    document = compared(recipe, held(devices, "upper", tmp_path), "--device", "lower")
    texts = [item["text"] for item in document["diagnoses"] if item["explained"] == 1]
    assert texts == ["the chip holds what device 'upper' should hold"]


def test_what_another_recipe_has_recorded_is_said(project, compared, tmp_path, capsys):
    recipe, _ = project("stairs", PICTURES[:4])
    other, devices = project("landing", PICTURES[4:8])
    commands.main(["burned", str(other)])
    dump = held(devices, "lower", tmp_path)
    shutil.rmtree(tmp_path / "landing-out")
    capsys.readouterr()
    first = compared(recipe, dump, "--device", "lower")["diagnoses"][0]
    assert (first["kind"], first["text"]) == (
        "other_recipe",
        "the chip holds the contents recorded for device 'lower' of landing.toml",
    )


def test_what_another_recipe_has_built_is_said(project, compared, tmp_path):
    recipe, _ = project("stairs", PICTURES[:4])
    _, devices = project("landing", PICTURES[4:8])
    first = compared(recipe, held(devices, "upper", tmp_path), "--device", "lower")["diagnoses"][0]
    assert (first["kind"], first["text"]) == (
        "other_recipe",
        "the chip holds the last build of device 'upper' of landing.toml",
    )


def test_another_tray_and_another_revision_are_said_before_any_fault(pictures, compared, tmp_path, capsys):
    """Four pictures a tray; the revisions differ in which counter bits drive two pins."""
    shutil.copytree(pictures, tmp_path, dirs_exist_ok=True)
    text = RECIPE.format(name="both", files=", ".join(f'"{name}.png"' for name in PICTURES), part="28C64")
    head, text = text.split("[board]")
    board, rest = text.split("[pictures]")
    board = board.replace("[[board.", "[[").replace("[board.", "[")
    for name, order in ("one", '"x4-x9"'), ("two", '"x5-x9", "x4"'):
        (tmp_path / f"{name}.toml").write_text(board.replace('"x4-x9"', order), encoding="utf-8")
    revisions = '[revisions]\none = "one.toml"\ntwo = "two.toml"\n\n[pictures]\nper_tray = 4'
    path = tmp_path / "recipe.toml"
    path.write_text(head + revisions + rest, encoding="utf-8")
    assert commands.main(["build", str(path)]) == 0
    capsys.readouterr()
    for revision, tray, said in (
        ("one", 2, "the chip holds the last build of device 'lower', tray 2"),
        ("two", 1, "the chip holds the last build of device 'lower' of revision two, tray 1"),
    ):
        dump = tmp_path / "both-out" / revision / "devices" / f"tray-0{tray}" / "lower.bin"
        shutil.copy(dump, tmp_path / "read.bin")
        first = compared(path, tmp_path / "read.bin", "--device", "lower", "--revision", "one", "--tray", "1")[
            "diagnoses"
        ][0]
        assert (first["kind"], first["text"]) == ("other_device", said)


@pytest.mark.parametrize(
    ("order", "text"),
    [
        ((1, 0, 2, 3), "bank 0 holds 1, 1 holds 0"),
        ((2, 3, 0, 1), "bank 0 holds 2, 1 holds 3, 2 holds 0, 3 holds 1"),
        ((3, None, None, None), "bank 0 holds 3, 1 is erased, 2 is erased, 3 is erased"),
        ((None, 1, 2, 0), "bank 0 is erased, 3 holds 0"),
    ],
)
def test_other_banks_are_said_before_any_fault(project, compared, tmp_path, order, text):
    recipe, devices = project("stairs", PICTURES[:4])
    banks = [*np.fromfile(devices / "lower.bin", np.uint8).reshape(4, 2048), np.full(2048, 0xFF, np.uint8)]
    np.concatenate([banks[-1 if bank is None else bank] for bank in order]).tofile(tmp_path / "read.bin")
    first = compared(recipe, tmp_path / "read.bin", "--device", "lower")["diagnoses"][0]
    assert (first["kind"], first["text"]) == ("bank_order", f"the banks are in the wrong order: {text}")
    assert first["explained"] == 1


def test_a_fault_is_still_named_beside_known_contents_that_it_does_not_resemble(project, compared, tmp_path, capsys):
    recipe, devices = project("stairs", PICTURES[:4])
    commands.main(["burned", str(recipe)])
    project("stairs", PICTURES[4:8])
    capsys.readouterr()
    image = np.fromfile(devices / "lower.bin", np.uint8)
    image[np.arange(image.size) ^ 64].tofile(tmp_path / "read.bin")
    first = compared(recipe, tmp_path / "read.bin", "--device", "lower")["diagnoses"][0]
    assert (first["kind"], first["lines"]) == ("address_inverted", ["A6 (y4)"])
