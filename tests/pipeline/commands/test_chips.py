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


@pytest.fixture(scope="module")
def built_once(tmp_path_factory):
    folder = tmp_path_factory.mktemp("built") / "lantern"
    shutil.copytree(LANTERN, folder, ignore=shutil.ignore_patterns("out", "__pycache__"))
    assert main(["build", "--quiet", str(folder)]) == 0
    return folder


@pytest.fixture
def built(tmp_path, built_once):
    """The recipe of a built project, and the path of its only binary device file."""
    folder = tmp_path / "lantern"
    shutil.copytree(built_once, folder, ignore=shutil.ignore_patterns("__pycache__"))
    device = json.loads((folder / "out" / "manifest.json").read_bytes())["devices"][0]
    return folder / "recipe.toml", folder / "out" / "devices" / device["file"], device


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
    assert "is as built" in out


def test_chips_of_another_recipe_are_neither_recorded_nor_compared(run, built):
    recipe, file, _ = built
    other = recipe.with_name("other.toml")
    shutil.copy(recipe, other)
    for command in (("burned", other), ("compare", other, file)):
        status, out, err = run(*command)
        assert (status, out) == (1, "")
        assert f"holds the build of another recipe, {recipe}; choose another output folder, or delete this one" in err
    assert not (recipe.parent / "burned.json").exists()


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
    for arguments in (("--device", device["name"]), ()):
        status, out, err = run("compare", recipe, tmp_path / "dump.bin", *arguments)
        assert (status, out) == (2, "")
        assert "dump.bin: holds 100 bytes, but device 'picture' (27C512) takes 65,536; check that" in err
        assert err.count("\n") == 1
    status, out, err = run("decode", recipe, tmp_path / "dump.bin", "--json")
    assert status == 2
    assert json.loads(out)["ok"] is False
    assert "takes 65,536" in err
    status, _, err = run("compare", recipe, tmp_path / "dump.bin", "--device", "pictur")
    assert status == 2
    assert "no device 'pictur'; did you mean 'picture'?" in err
    status, _, err = run("compare", recipe, tmp_path / "none.bin")
    assert status == 2
    assert "none.bin: cannot be read (No such file or directory); check the name" in err


def test_burned_chips_are_left_by_the_next_build(run, built):
    recipe, _, device = built
    assert device["changed"]
    status, out, _ = run("burned", recipe)
    assert status == 0
    assert device["crc32"] in out
    status, out, _ = run("build", recipe, "--json")
    assert not json.loads(out)["manifest"]["devices"][0]["changed"]
    status, _, err = run("burned", recipe, "no-such")
    assert status == 2
    assert "no device 'no-such'" in err


def test_check_says_which_chips_to_burn_again(run, built):
    recipe, _, device = built
    run("burned", recipe)
    _, out, _ = run("check", recipe, "--json")
    assert not [f for f in json.loads(out)["findings"] if f["where"].startswith("device ")]
    noted = json.loads((recipe.parent / "burned.json").read_text())
    noted["chips"][0] |= {"part": "27C256", "bytes": 32768}
    (recipe.parent / "burned.json").write_text(json.dumps(noted))
    _, out, _ = run("check", recipe, "--json")
    (finding,) = [f for f in json.loads(out)["findings"] if f["where"] == f"device {device['name']}"]
    assert finding["message"] == "the recorded chip is a 27C256; a new 27C512 is needed"


def test_stale_device_files_are_cautioned_against(run, built):
    recipe, file, _ = built
    manifest = json.loads((recipe.parent / "out" / "manifest.json").read_text())
    assert [item["file"] for item in manifest["inputs"]] == [
        "recipe.toml",
        "lantern.py",
        "pictures/chart.png",
        "pictures/lighthouse.png",
    ]

    def cautions(out):
        return [f for f in json.loads(out)["findings"] if f["where"] == "last build"]

    assert cautions(run("check", recipe, "--json")[1]) == []
    status, out, err = run("compare", recipe, file, "--json")
    assert (status, err, cautions(out)) == (0, "", [])
    shutil.copy(recipe.parent / "pictures" / "chart.png", recipe.parent / "pictures" / "lighthouse.png")
    with (recipe.parent / "lantern.py").open("a") as plugin:
        plugin.write("# seen\n")
    told = "lantern.py has changed, pictures/lighthouse.png has changed; the device files are those of before"
    status, out, _ = run("check", recipe)
    assert status == 0
    assert f"last build: {told}" in out
    for arguments in (("check", recipe), ("compare", recipe, file), ("burned", recipe)):
        status, out, err = run(*arguments, "--json")
        assert status == 0
        (caution,) = cautions(out)
        assert caution["level"] == "caution"
        assert caution["message"].startswith(told)
        assert arguments[0] == "check" or told in err
    run("build", recipe)
    assert cautions(run("check", recipe, "--json")[1]) == []


def test_a_build_of_before_there_were_digests_and_a_damaged_one(run, built):
    recipe, _, _ = built
    path = recipe.parent / "out" / "manifest.json"
    manifest = json.loads(path.read_text())
    del manifest["inputs"]
    path.write_text(json.dumps(manifest))
    assert not [f for f in json.loads(run("check", recipe, "--json")[1])["findings"] if f["where"] == "last build"]
    path.write_text('{"inputs": [1]}')
    status, out, _ = run("check", recipe, "--json")
    assert status == 1
    (error,) = (f for f in json.loads(out)["findings"] if f["where"] == str(path))
    assert error["level"] == "error"
    assert error["message"].endswith("move it away or choose another output folder")


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


WIDE = (
    ('part = "27C512"\naccess = "120 ns"', "words = 65536\nwidth = 16"),
    (
        'use = "binary"',
        'use = "binary"\nsplit = "even_odd"\nsize = 32768\n\n[[stage]]\nuse = "intel_hex"\noffset = 0x4000',
    ),
)


@pytest.fixture
def wide(built, run):
    """The same project with a device of 16 bits: even and odd bytes in two files each, and a HEX file of all of it."""
    recipe, _, _ = built
    text = recipe.read_text()
    for before, after in WIDE:
        assert before in text
        text = text.replace(before, after)
    recipe.write_text(text)
    status, out, err = run("build", recipe, "--json")
    assert status == 0, err
    document = json.loads(out)
    return recipe, Path(document["output"]) / "devices", document["manifest"]["devices"][0]


def test_dumps_of_all_pieces_make_up_the_device(run, wide, tmp_path):
    recipe, devices, device = wide
    pieces = [piece["file"] for piece in device["pieces"]]
    assert pieces == [*(f"picture-{lane}-{n}.bin" for lane in ("even", "odd") for n in (0, 1)), "picture.hex"]
    dumps = []
    for number, name in enumerate((pieces[2], pieces[0], pieces[3], pieces[1])):
        dumps.append(tmp_path / f"read{number}.bin")
        shutil.copy(devices / name, dumps[-1])
    # The upper byte drives nothing: its two files are the same, and either one may be either.
    status, out, err = run("compare", recipe, *dumps)
    assert status == 2
    assert "by name or content" in err
    for number, name in ((0, pieces[2]), (2, pieces[3])):
        dumps[number] = dumps[number].rename(tmp_path / name)
    status, out, err = run("compare", recipe, *dumps)
    assert status == 0, err
    assert "device picture is as built: all 65,536 words are the same" in out
    status, out, _ = run("decode", recipe, *(devices / name for name in pieces[:4]), "--into", tmp_path / "a", "--json")
    assert status == 0
    status, _, _ = run("decode", recipe, devices / "picture.hex", "--into", tmp_path / "b")
    assert status == 0
    for name in json.loads(out)["pictures"]:
        assert Path(name).read_bytes() == (tmp_path / "b" / Path(name).name).read_bytes()


def test_one_piece_is_compared_alone_and_the_rest_is_said_to_be_unread(run, wide, tmp_path):
    recipe, devices, _ = wide
    image = np.fromfile(devices / "picture-even-1.bin", np.uint8)
    status, out, _ = run("compare", recipe, devices / "picture-even-1.bin")
    assert status == 0
    assert "is as built as far as it was read: 32,768 of 131,072 bytes" in out
    assert "not read: the even bytes from 0h to FFFEh (picture-even-0.bin), the odd bytes from 1h to FFFFh" in out
    (image & 0xFD).tofile(tmp_path / "picture-even-1.rom")
    picture = tmp_path / "damage.png"
    status, out, _ = run("compare", recipe, tmp_path / "picture-even-1.rom", "--json", "--picture", picture)
    assert status == 1
    document = json.loads(out)
    assert document["diagnoses"][0]["text"] == "data line D1 (b1) stuck low"
    assert document["unread_bytes"] == 3 * 32768
    assert document["dumps"][0]["differing"] == document["count"] == int((image & 2 != 0).sum())
    assert min(d["address"] for d in document["differences"]) >= 32768
    with Image.open(picture) as shown:
        assert shown.width == 640


def test_a_dump_with_another_base_is_the_same(run, wide, tmp_path):
    recipe, devices, _ = wide
    from intelhex import IntelHex

    held = IntelHex(str(devices / "picture.hex"))
    assert held.minaddr() == 0x4000
    for base in (0, 0x20000, 0x4000):
        moved = IntelHex()
        moved.frombytes(held.tobinarray(), base)
        moved.write_hex_file(str(tmp_path / "read.hex"))
        status, out, _ = run("compare", recipe, tmp_path / "read.hex", "--json")
        assert status == 0
        (dump,) = json.loads(out)["dumps"]
        assert (dump["base"], dump["format"], dump["left_out"]) == (base, "intel_hex", 0)


def test_either_byte_order_of_a_wide_dump_is_read_as_asked(run, wide, tmp_path):
    recipe, devices, _ = wide
    from intelhex import IntelHex

    image = np.array(IntelHex(str(devices / "picture.hex")).tobinarray(), dtype=np.uint8)
    image.reshape(-1, 2)[:, ::-1].tofile(tmp_path / "read.bin")
    status, out, _ = run("compare", recipe, tmp_path / "read.bin")
    assert status == 1
    assert "the bytes of each word are in reverse order" in out
    assert "--big-endian" in out
    assert run("compare", recipe, tmp_path / "read.bin", "--big-endian")[0] == 0
    image.tofile(tmp_path / "read.bin")
    assert run("compare", recipe, tmp_path / "read.bin")[0] == 0


def test_the_projects_name_goes_into_file_names(run, built):
    recipe, _, _ = built
    text = recipe.read_text()
    assert 'use = "binary"' in text
    recipe.write_text(text.replace('use = "binary"', 'use = "binary"\nname = "{project}-{device}.bin"'))
    status, out, err = run("build", recipe, "--json")
    assert status == 0, err
    (name,) = [file for file in json.loads(out)["manifest"]["devices"][0]["files"] if file.endswith(".bin")]
    assert name == "Merrowhithe-lantern-room-picture.bin"
    recipe.write_text(text.replace('use = "binary"', 'use = "binary"\nname = "{devise}.bin"'))
    status, _, err = run("check", recipe)
    assert status == 1
    assert "there is no field {devise}; did you mean 'device'?" in err
