import json

import pytest

from ladderlight import DeviceFileError
from ladderlight.devices.files import images_of
from ladderlight.errors import BuildError, DocumentError
from ladderlight.proof.scanout import memories_of
from ladderlight.workspace.description import describe
from ladderlight.workspace.last_build import last_build
from ladderlight_stages.emissions.binary import binary
from ladderlight_stages.emissions.intel_hex import intel_hex


@pytest.fixture
def wide(make_board, memory):
    return make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C1024"))


@pytest.fixture
def built(wide, banked, tmp_path):
    """A build with spans of every sort, written as the engine does; the words."""
    contents = banked(wide, (0,))
    files = binary(contents, wide, split="even_odd", size=40000) + intel_hex(contents, wide, order="big", offset=0x100)
    words = memories_of(wide, files)
    document = describe(project="p", board=wide, contents=contents, files=files, images=images_of(wide, words))
    (tmp_path / "devices").mkdir()
    for file in files:
        (tmp_path / "devices" / file.name).write_bytes(file.data)
    (tmp_path / "manifest.json").write_text(json.dumps(document))
    return words


def test_a_build_is_read_back_from_its_manifest_and_files(wide, built, tmp_path):
    build = last_build(tmp_path, wide).tray()
    assert (build.words["picture"] == built["picture"]).all()
    assert build.pictures == {0: ["picture-0"]}
    assert build.images["picture"] == built["picture"].astype("<u2").tobytes()
    assert [file.name for file in build.files] == [
        "picture-even-0.bin",
        "picture-even-1.bin",
        "picture-odd-0.bin",
        "picture-odd-1.bin",
        "picture.hex",
    ]
    assert build.files[-1].span.offset == 0x100


def test_a_changed_device_file_is_noticed(wide, built, tmp_path):
    path = tmp_path / "devices" / "picture-odd-1.bin"
    path.write_bytes(b"\0" + path.read_bytes()[1:])
    with pytest.raises(DeviceFileError, match="disagree about device 'picture'"):
        last_build(tmp_path, wide).tray()


def test_no_build_a_damaged_one_and_another_board_are_errors(wide, board, built, tmp_path):
    with pytest.raises(BuildError, match="there is no build yet"):
        last_build(tmp_path / "elsewhere", wide)
    with pytest.raises(BuildError, match="of other devices than the recipe has now"):
        last_build(tmp_path, board)
    (tmp_path / "manifest.json").write_text('{"devices": [{}]}')
    with pytest.raises(DocumentError, match=r"manifest.json: lacks format; build again"):
        last_build(tmp_path, wide).tray()
