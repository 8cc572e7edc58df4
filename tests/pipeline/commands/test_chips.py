"""The commands about chips on the bench: burned, compare, decode."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from ladderlight.commands import main

LANTERN = Path(__file__).parents[2] / "recipes" / "lantern"


@pytest.fixture
def built(tmp_path, capsys):
    """The recipe of a built project, and the path of its only binary device file."""
    folder = tmp_path / "lantern"
    shutil.copytree(LANTERN, folder, ignore=shutil.ignore_patterns("out", "__pycache__"))
    recipe = folder / "recipe.toml"
    assert main(["build", str(recipe), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    device = document["manifest"]["devices"][0]
    return recipe, Path(document["output"]) / "devices" / device["file"], device


@pytest.fixture
def run(capsys):
    def call(*arguments):
        status = main([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return status, captured.out, captured.err

    return call


def test_a_good_chip_is_the_same_with_status_0(run, built):
    recipe, file, device = built
    status, out, _ = run("compare", recipe, file, "--device", device["name"])
    assert status == 0
    assert "holds what it should" in out


def test_a_bad_chip_is_status_1_with_a_diagnosis_and_a_picture(run, built, tmp_path):
    recipe, file, device = built
    dump, picture = tmp_path / "dump.bin", tmp_path / "pictures" / "damage.png"
    image = np.fromfile(file, np.uint8)
    (image[np.arange(image.size) ^ 2]).tofile(dump)
    status, out, _ = run("compare", recipe, dump, "--device", device["name"], "--picture", picture, "--json")
    assert status == 1
    document = json.loads(out)
    assert document["diagnoses"][0]["kind"] == "address_inverted"
    assert document["count"] == int((image[np.arange(image.size) ^ 2] != image).sum())
    with Image.open(picture) as image_:
        assert image_.width == 640
    status, out, _ = run("compare", recipe, dump, "--device", device["name"])
    assert status == 1
    assert "address line A1" in out


def test_a_dump_of_the_wrong_size_is_one_clear_line(run, built, tmp_path):
    recipe, _, device = built
    (tmp_path / "dump.bin").write_bytes(bytes(100))
    status, out, err = run("compare", recipe, tmp_path / "dump.bin", "--device", device["name"])
    assert (status, out) == (1, "")
    assert "holds 100 bytes, but" in err
    assert err.count("\n") == 1


def test_burned_chips_are_left_by_the_next_build(run, built):
    recipe, _, device = built
    assert device["changed"]
    status, out, _ = run("burned", recipe)
    assert status == 0
    assert device["crc32"] in out
    status, out, _ = run("build", recipe, "--json")
    assert not json.loads(out)["manifest"]["devices"][0]["changed"]
    status, _, err = run("burned", recipe, "no-such")
    assert status == 1
    assert "no device 'no-such'" in err


def test_check_says_which_chips_to_burn_again(run, built):
    recipe, _, device = built
    run("burned", recipe)
    _, out, _ = run("check", recipe, "--json")
    assert not [f for f in json.loads(out)["findings"] if f["where"].startswith("device ")]
    noted = json.loads((recipe.parent / "burned.json").read_text())
    for name in list(noted["devices"]):
        del noted["devices"][name]
    (recipe.parent / "burned.json").write_text(json.dumps(noted))
    _, out, _ = run("check", recipe, "--json")
    (finding,) = [f for f in json.loads(out)["findings"] if f["where"] == f"device {device['name']}"]
    assert "nothing is noted" in finding["message"]


def test_pictures_are_decoded_from_a_dump(run, built, tmp_path):
    recipe, file, _ = built
    status, out, _ = run("decode", recipe, file, "--into", tmp_path / "pictures", "--json")
    assert status == 0
    names = json.loads(out)["pictures"]
    assert names
    with Image.open(names[0]) as picture:
        assert picture.mode == "P"
        assert np.asarray(picture).max() < 64


def test_without_a_build_they_say_so(run, built):
    recipe, file, _ = built
    dump = recipe.parent / "dump.bin"
    shutil.copy(file, dump)
    shutil.rmtree(recipe.parent / "out")
    for arguments in (("burned", recipe), ("compare", recipe, dump)):
        status, _, err = run(*arguments)
        assert status == 1
        assert "run ladderlight build first" in err


def test_the_projects_name_goes_into_file_names(run, built):
    recipe, _, _ = built
    text = recipe.read_text()
    assert 'use = "binary"' in text
    recipe.write_text(text.replace('use = "binary"', 'use = "binary"\nname = "{project}-{device}.bin"'))
    status, out, err = run("build", recipe, "--json")
    assert status == 0, err
    (name,) = [file for file in json.loads(out)["manifest"]["devices"][0]["files"] if file.endswith(".bin")]
    assert name == "Tern-Island-lantern-room-picture.bin"
    recipe.write_text(text.replace('use = "binary"', 'use = "binary"\nname = "{devise}.bin"'))
    status, _, err = run("check", recipe)
    assert status == 1
    assert "there is no field {devise}; did you mean 'device'?" in err
