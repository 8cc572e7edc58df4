import hashlib
import json
import zlib
from dataclasses import replace

import numpy as np
import pytest

from ladderlight import DeviceFile
from ladderlight.cache.marks import Seen
from ladderlight.devices.files import checksums_of, images_of
from ladderlight.proof.scanout import memories_of
from ladderlight.system.printable import json_text
from ladderlight.workspace.burned import chip_of
from ladderlight.workspace.description import describe
from ladderlight.workspace.manifest import FILE, Manifests, digest_of_inputs, made_tray, read_manifest
from ladderlight_stages.emissions.binary import binary
from ladderlight_stages.emissions.intel_hex import intel_hex


@pytest.fixture
def build(board, banked):
    """A manifest of a board with pictures in banks 1 and 3, written as binary and HEX."""

    def make(burned=None, details=None, **more):
        contents = banked(board, (1, 3))
        files = binary(contents, board) + intel_hex(contents, board, offset=0x100)
        words = memories_of(board, files)
        return describe(
            project="Merrowhithe",
            board=board,
            contents=contents,
            files=files,
            images=images_of(board, words),
            burned=burned,
            details=details,
            **more,
        )

    return make


def record(board, words, **build):
    return {
        device.name: chip_of("recipe.toml", device, images_of(board, words)[device.name], **build)
        for device in board.devices
    }


def test_a_device_is_described_as_a_programmer_shows_it(board, banked, build):
    image = banked(board, (1, 3)).memories["picture"].words.astype(np.uint8).tobytes()
    (device,) = build()["devices"]
    expected = {
        "name": "picture",
        "memory": "picture",
        "part": "27C010",
        "file": "picture.bin",
        "files": ["picture.bin", "picture.hex"],
        "bytes": 131072,
        "crc32": f"{zlib.crc32(image):08X}",
        "sum8": f"{sum(image) % 256:02X}",
        "sum16": f"{sum(image) % 65536:04X}",
        "sum32": f"{sum(image):08X}",
        "sha256": hashlib.sha256(image).hexdigest(),
        "changed": True,
        "used_words": 38400,
        "free_words": 131072 - 38400,
        "last_used": 3 << 15 | 0x779F,
    }
    assert {key: device[key] for key in expected} == expected
    assert [bank["bank"] for bank in device["banks"]] == [1, 3]
    first, second = device["pieces"]
    assert (first["format"], second["format"]) == ("binary", "intel_hex")
    assert (first["offset"], second["offset"]) == (0, 0x100)
    assert first["crc32"] == second["crc32"] == device["crc32"]
    assert first["sha256"] == second["sha256"] == device["sha256"]


def test_pictures_with_their_place_and_what_stages_say_of_them(build):
    pictures = build(details={"picture-3": {"metrics": {"error": 1.5}}})["pictures"]
    assert pictures[1] == {
        "name": "picture-3",
        "source": "pictures/picture-3.png",
        "frame": 0,
        "duration": None,
        "memory": "picture",
        "memories": ["picture"],
        "bank": 3,
        "metrics": {"error": 1.5},
    }
    assert "metrics" not in pictures[0]


def test_the_record_of_burned_chips_tells_what_changed(board, banked, build):
    words = {"picture": banked(board, (1, 3)).memories["picture"].words}
    (device,) = build(burned=record(board, words))["devices"]
    assert (device["changed"], device["burn"]["known"], device["burn"]["differing"]) == (False, True, 0)
    other = {"picture": words["picture"].copy()}
    other["picture"][:5] ^= 1
    (device,) = build(burned=record(board, other))["devices"]
    assert (device["changed"], device["burn"]["differing"], device["burn"]["erasure"]) == (True, 5, "ultraviolet")
    assert device["burn"]["eraser"] is True


INPUTS = [("recipe.toml", 3, "ab")]


@pytest.mark.parametrize(
    ("inputs", "versions", "cause"),
    [
        (INPUTS, {"numpy": "1", "numba": "2"}, " because of numpy 3 instead of 1 (same inputs)"),
        (INPUTS, {"numpy": "3", "numba": "2"}, ""),
        ([("recipe.toml", 4, "ab")], {"numpy": "1", "numba": "2"}, ""),
        ([], {"numpy": "1", "numba": "2"}, ""),
    ],
)
def test_a_changed_version_is_the_reason_where_the_inputs_are_the_same(board, banked, build, inputs, versions, cause):
    words = {"picture": banked(board, (1, 3)).memories["picture"].words.copy()}
    words["picture"][0] ^= 1
    held = record(board, words, inputs=digest_of_inputs(inputs), versions=versions)
    document = build(burned=held, digest=digest_of_inputs(INPUTS), versions={"numpy": "3", "numba": "2"})
    assert document["versions"] == {"numpy": "3", "numba": "2"}
    assert document["devices"][0]["burn"]["text"].startswith(f"differs from the last build in 1 byte{cause};")


def test_what_the_arrangement_has_to_say_is_kept(board, banked):
    contents = replace(banked(board, (0,)), notes=("one", "two"))
    files = binary(contents, board)
    document = describe(
        project="p", board=board, contents=contents, files=files, images=images_of(board, memories_of(board, files))
    )
    assert document["notes"] == ["one", "two"]


def test_the_manifest_of_a_build_has_the_chips_of_all_trays_and_what_it_is_made_from(build, monkeypatch):
    monkeypatch.setattr("ladderlight.workspace.manifest._FEW", 1)  # the second tray waits compressed
    made = Manifests(seen={"recipe.toml": Seen((3, 0, 0, 0), "ab", settled=True)})
    trays = [build(tray=1), build(tray=2)]
    for tray in trays:
        made.add(made_tray(tray, {}))
    assert made.document == trays[0] | {
        "devices": [*trays[0]["devices"], *trays[1]["devices"]],
        "inputs": [{"file": "recipe.toml", "bytes": 3, "sha256": "ab"}],
        "pictures": [*trays[0]["pictures"], *trays[1]["pictures"]],
    }
    assert "".join(made.text()) == json_text(made.document)


def test_it_is_plain_json_and_the_same_every_time(build):
    text = json.dumps(build())
    assert json.loads(text) == build()
    assert text == json.dumps(build())


def common(some, others):
    """What JSON values have in common with others, of tables the keys of the first."""
    if isinstance(some, dict):
        return {key: common(value, others[key]) for key, value in some.items() if key in others}
    if isinstance(some, list):
        return [common(one, other) for one, other in zip(some, others, strict=True)]
    return others


def test_what_is_written_is_read_back(board, banked, tmp_path):
    contents = banked(board, (1, 3))
    files = binary(contents, board) + intel_hex(contents, board, offset=0x100)
    words = memories_of(board, files)
    changed = {"picture": words["picture"] ^ 1}
    made = describe(
        project="p",
        board=board,
        contents=contents,
        files=files,
        images=images_of(board, words),
        burned=record(board, changed),
        details={"picture-1": {"codes_chosen": "1 2", "metrics": {"error": 1.5, "colours_used": 3}}},
        versions={"numpy": "3"},
    )
    (tmp_path / FILE).write_text(json.dumps(made))
    read = read_manifest(tmp_path)
    assert common(read, made) == read
    (device,) = read["devices"]
    assert [(piece["file"], piece["bytes"]) for piece in device["pieces"]] == [
        ("picture.bin", 131072),
        ("picture.hex", 131072),
    ]
    assert [(each["name"], each["bank"]) for each in read["pictures"]] == [("picture-1", 1), ("picture-3", 3)]
    assert made["pictures"][0]["codes_chosen"] == "1 2"
    assert made["pictures"][0]["metrics"] == {"error": 1.5, "colours_used": 3}
    assert made["devices"][0]["burn"]["differing"] == 131072


def test_a_note_of_a_stage_takes_no_key_of_the_manifest(build):
    (picture, _) = build(details={"picture-1": {"bank": "mine", "mood": "calm"}})["pictures"]
    assert (picture["bank"], picture["mood"]) == (1, "calm")


def test_even_and_odd_files_have_sums_of_their_own(make_board, memory, banked):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C1024"))
    contents = banked(board, (0,))
    files = binary(contents, board, split="even_odd")
    files.append(DeviceFile(device="picture", name="bank0.png", data=b"", span=None))
    (device,) = describe(
        project="p", board=board, contents=contents, files=files, images=images_of(board, memories_of(board, files))
    )["devices"]
    assert device["files"] == ["picture-even.bin", "picture-odd.bin", "bank0.png"]
    assert [piece["crc32"] for piece in device["pieces"]] == [f"{zlib.crc32(file.data):08X}" for file in files[:2]]
    assert [piece["sha256"] for piece in device["pieces"]] == [hashlib.sha256(f.data).hexdigest() for f in files[:2]]
    assert [piece["bytes"] for piece in device["pieces"]] == [65536, 65536]
    assert device["bytes"] == 131072


def test_a_big_endian_device_is_summed_as_its_file_is(make_board, memory, banked):
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C1024"))
    contents = banked(board, (0,))
    (file,) = binary(contents, board, order="big")
    (device,) = describe(
        project="p", board=board, contents=contents, files=[file], images=images_of(board, memories_of(board, [file]))
    )["devices"]
    assert device["crc32"] == device["pieces"][0]["crc32"] == f"{zlib.crc32(file.data):08X}"


def test_equal_bytes_are_summed_once(build, monkeypatch):
    """A device, its binary file and its HEX file hold the same bytes."""
    summed = []

    def counted(data):
        summed.append(len(data))
        return checksums_of(data)

    monkeypatch.setattr("ladderlight.workspace.description.checksums_of", counted)
    (device,) = build()["devices"]
    assert [piece["crc32"] for piece in device["pieces"]] == [device["crc32"]] * 2
    assert summed == [device["bytes"]]
