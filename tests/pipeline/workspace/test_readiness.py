"""What check concludes: it is ready to build when a build succeeds, as far as that can be known."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from ladderlight.commands import main
from ladderlight.recipe import load
from ladderlight.workspace.readiness import readiness

BOARD = """format = 1
plugins = ["lamps.py"]
[project]
output = "OUT"
[board]
mode = "640x480@60"
clock = "25.175 MHz"
blanking = "output-enable"
counters = { blanking_delay = 32 }
[[board.memory]]
name = "picture"
part = "27C512"
access = "70 ns"
output = "register"
address = ["x5-x9", "y5-y8", "bank0-bank1"]
data = ["b0", "g0", "r0"]
[board.ladder]
supply = "5 V"
driver = "30 ohm"
red = { r0 = "430R" }
green = { g0 = "430R" }
blue = { b0 = "430R" }
"""

LAMPS = """
from pathlib import Path
import numpy as np
from ladderlight import CodedPicture, Contents, DeviceFile, Origin, Picture, PictureError, Probe, stage

def header(path, options):
    kind, _, frames = path.read_text().splitlines()[0].partition(" ")
    if kind != "lamps":
        raise PictureError("is not a picture of lamps; save it again")
    return Probe(frames=int(frames), width=20, height=15, caution="is old" if path.stem == "old" else "")

@stage(help="Reads pictures of lamps.", probe=header)
def lamps(path: Path) -> list[Picture]:
    found = header(path, {})
    light = [int(word) / 8 for word in path.read_text().split()[2:]]
    pictures = []
    for frame in range(found.frames):
        pixels = np.full((15, 20, 3), light[frame % len(light)], dtype=np.float32)
        pictures.append(Picture(origin=Origin(name="?", source="?"), pixels=pixels))
    return pictures

@stage(help="Codes the light.")
def code(picture: Picture) -> CodedPicture:
    return picture.coded(np.full((15, 20), round(8 * float(picture.pixels[0, 0, 0])), dtype=np.uint16))

@stage(help="Calls all files alike.")
def alike(contents: Contents) -> list[DeviceFile]:
    return [DeviceFile(device="picture", name="all.bin", data=b"", span=None)] * 2
"""


@dataclass
class Project:
    """A recipe to check and to build."""

    good: bool
    stages: tuple[str, ...] = ("bank_pictures", "binary")
    pictures: dict[str, str] = field(default_factory=lambda: {"a": "lamps 1\n1", "b": "lamps 1\n2"})
    more: str = ""
    output: str = "out"
    other: dict[str, str] = field(default_factory=dict)
    board: str = BOARD
    needs_pictures: bool = True


def many(count: int) -> dict[str, str]:
    return {f"p{number}": f"lamps 1\n{number % 8}" for number in range(count)}


RAW = 'raw"\nmemory = "picture"\naddress = {}\nwords = "{}'
SECOND = """[[board.memory]]
name = "second"
part = "27C512"
access = "70 ns"
output = "register"
address = ["x5-x9", "y5-y8"]
data = ["r0"]
[board.ladder]"""
LOOKED_UP = BOARD.replace('data = ["b0", "g0", "r0"]', 'data = ["-"]').replace(
    "[board.ladder]",
    '[[board.memory]]\nname = "colours"\npart = "27C512"\naccess = "70 ns"\noutput = "register"\n'
    'address = ["picture.d0-picture.d2"]\ndata = ["b0", "g0", "r0"]\n[board.ladder]',
)

PROJECTS = {
    "as many pictures as banks": Project(good=True, pictures=many(4)),
    "a picture too many": Project(good=False, pictures=many(5)),
    "sixty pictures": Project(good=False, pictures=many(60)),
    "frames for all banks": Project(good=True, pictures={"a": "lamps 4\n1 2 3 4"}),
    "a frame too many": Project(good=False, pictures={"a": "lamps 5\n1 2 3 4 5"}),
    "a frame beyond the last bank": Project(
        good=False, pictures={"a": "lamps 2\n1"}, more='[[picture]]\nmatch = "a.lamps"\nbank = 3\n'
    ),
    "a bank that exists": Project(good=True, more='[[picture]]\nmatch = "a.lamps"\nbank = 3\n'),
    "two pictures for one bank": Project(good=False, more='[[picture]]\nmatch = "*"\nbank = 1\n'),
    "many alike that share": Project(
        good=True, pictures=dict.fromkeys(many(9), "lamps 1\n3"), stages=('bank_pictures"\nshare = true#', "binary")
    ),
    "a pattern that fits none": Project(good=False, stages=('bank_pictures"\nmatch = "c*', "binary")),
    "a pattern that fits some": Project(
        good=True, pictures=many(9), stages=('bank_pictures"\nmatch = "p[2-5]', "binary")
    ),
    "to and fro": Project(good=True, pictures=many(3), stages=('frames"\nping_pong = true#', "binary")),
    "to and fro too far": Project(good=False, pictures=many(4), stages=('frames"\nping_pong = true#', "binary")),
    "too few banks from the first": Project(good=False, pictures=many(3), stages=('frames"\nfirst = 2#', "binary")),
    "planes": Project(good=True, pictures=many(8), stages=('planes"\nlines = ["r0", "g0 b0"]#', "binary")),
    "planes too many": Project(good=False, pictures=many(9), stages=('planes"\nlines = ["r0", "g0 b0"]#', "binary")),
    "no picture": Project(good=False, pictures={"a": "lamps 1\n1", "b": "lamp"}),
    "a file that may not be read": Project(good=False, pictures={"a": "lamps 1\n1", "closed": "lamps 1\n2"}),
    "output below a file": Project(good=False, output="notes.txt/out", other={"notes.txt": "mine"}),
    "output with devices of somebody else": Project(good=False, other={"out/devices/mine.bin": "mine"}),
    "two files of one name": Project(good=False, stages=("bank_pictures", "binary", "binary")),
    "one stage, two files of one name": Project(good=False, stages=("bank_pictures", "alike")),
    "a look-up memory": Project(good=False, board=LOOKED_UP),
    "a look-up memory filled": Project(good=True, board=LOOKED_UP, stages=("lookup", "binary")),
    "words and pictures": Project(good=True, stages=("bank_pictures", RAW.format(4096, "00"), "binary")),
    "words alone": Project(
        good=True, needs_pictures=False, pictures={}, stages=(RAW.format(0, "00 01"), RAW.format(2, "07"), "binary")
    ),
    "words that collide": Project(
        good=False, needs_pictures=False, pictures={}, stages=(RAW.format(0, "00 01"), RAW.format(1, "07"), "binary")
    ),
}

Write = Callable[[Project], Path]


@pytest.fixture
def write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Write:
    def refusing(opened: Callable[..., object]) -> Callable[..., object]:
        def refused(path: object, *arguments: object, **options: object) -> object:
            if str(path).endswith("closed.lamps") and arguments == ("rb",):  # root, who runs some tests, may read it
                raise PermissionError(13, "Permission denied", str(path))
            return opened(path, *arguments, **options)

        return refused

    monkeypatch.setattr(Path, "open", refusing(Path.open))
    monkeypatch.setattr("builtins.open", refusing(open))

    def make(project: Project) -> Path:
        (tmp_path / "lamps.py").write_text(LAMPS)
        for name, text in project.pictures.items():
            (tmp_path / f"{name}.lamps").write_text(text)
        for name, text in project.other.items():
            (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / name).write_text(text)
        stages = project.stages
        text = project.board.replace("OUT", project.output)
        if project.needs_pictures:
            text += '[pictures]\nfiles = ["*.lamps"]\n'
            stages = ("lamps", "code", *stages)
        text += "".join(f'[[stage]]\nuse = "{use}"\n' for use in stages) + project.more
        (tmp_path / "recipe.toml").write_text(text)
        return tmp_path / "recipe.toml"

    return make


@pytest.mark.parametrize("name", PROJECTS)
def test_check_is_ready_when_a_build_succeeds(write: Write, capsys: pytest.CaptureFixture[str], name: str) -> None:
    recipe = write(PROJECTS[name])
    status = main(["check", str(recipe), "--json"])
    out, err = capsys.readouterr()
    document = json.loads(out)
    errors = [finding for finding in document["findings"] if finding["level"] == "error"]
    assert document["ok"] is (not errors)
    assert status == (0 if document["ok"] else 1)
    built = main(["build", str(recipe)])
    said = capsys.readouterr().err
    assert built == (0 if document["ok"] else 1), said or err
    assert document["ok"] is PROJECTS[name].good, said


def errors_of(recipe: Path) -> list[tuple[str, str]]:
    return [(found.where, found.message) for found in readiness(load(recipe)).findings if found.level == "error"]


def test_a_board_alone_is_checked_before_its_chain_is_written(write: Write, capsys: pytest.CaptureFixture[str]) -> None:
    """Without stages the chain has bank_pictures, which a board with a look-up memory cannot use."""
    recipe = write(Project(good=True))
    recipe.write_text(LOOKED_UP.replace("OUT", "out"))
    assert main(["check", str(recipe)]) == 0
    recipe.write_text(LOOKED_UP.replace("OUT", "out") + '[pictures]\nfiles = ["a.lamps"]\n')
    assert main(["check", str(recipe)]) == 1
    assert "addressed by memory 'picture', so its words are not a picture" in capsys.readouterr().err


def test_too_many_pictures_are_told_with_what_to_do(write: Write) -> None:
    ((where, message),) = errors_of(write(Project(good=False, pictures=many(60))))
    assert where == "bank_pictures"
    assert message == (
        "60 banks are needed, but the wiring has 4; left over: 'p4', 'p5', 'p6', 'p7', 'p8', 'p9' and 50 more; leave "
        'pictures out, deal them to trays with per_tray = "banks" in [pictures], none with a tray of its own, '
        'or add "bank2" and "bank3" and "bank4" and "bank5" to the address: memory \'picture\': 27C512 '
        "has the spare address lines"
    ).replace('"bank2" and "bank3" and "bank4" and', '"bank2", "bank3", "bank4" and')


def test_bad_files_count_among_too_many(write: Write) -> None:
    found = errors_of(write(Project(good=False, pictures=many(4) | {"p1": "lamp"})))
    assert found == [("p1.lamps", "is not a picture of lamps; save it again")]
    ((_, bad), (_, message)) = errors_of(write(Project(good=False, pictures=many(5) | {"p1": "lamp"})))
    assert bad == found[0][1]
    assert message.startswith("5 banks are needed, but the wiring has 4; left over: 'p4'; leave pictures out")


def test_nothing_is_decoded_when_there_are_too_many(write: Write, capsys: pytest.CaptureFixture[str]) -> None:
    """The frames of the file cannot be decoded, but that is not what is said."""
    recipe = write(Project(good=False, pictures={"a": "lamps 9000\nnoise"}))
    assert main(["build", str(recipe)]) == 1
    err = capsys.readouterr().err
    assert "bank_pictures: 9000 banks are needed, but the wiring has 4" in err
    assert "left over: 'a#4', 'a#5'" in err


def test_a_file_with_absurdly_many_frames(write: Write) -> None:
    recipe = write(Project(good=False, pictures={"a": "lamps 4000000000\n1"}))
    assert errors_of(recipe) == [("pictures", "the files have 4,000,000,000 frames; a build takes up to 1,048,576")]


def test_all_is_told_at_once(write: Write) -> None:
    project = Project(
        good=False,
        pictures={"a": "lamps 1\n1", "b": "lamp", "closed": "lamps 1\n1"},
        stages=("bank_pictures", "binary", "binary"),
        other={"out/devices/mine.bin": "mine"},
    )
    output, *others = [where.rpartition("/")[2] for where, _ in errors_of(write(project))]
    assert output in ("out", "output")
    assert others == [
        "device files",
        "closed.lamps",
        "b.lamps",
    ]


def test_an_output_folder_that_may_not_be_written(write: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    recipe = write(Project(good=True))
    assert errors_of(recipe) == []
    monkeypatch.setattr("os.access", lambda path, mode: Path(path) != recipe.parent)
    assert errors_of(recipe) == [(str(recipe.parent), "cannot be written; choose another output folder")]


def test_a_memory_that_cannot_tell_banks_apart_is_a_caution(write: Write, capsys: pytest.CaptureFixture[str]) -> None:
    """Pictures that are alike in that memory can be built: lights 1 and 2 have r0 low, 4 has it high."""
    board = BOARD.replace('"g0", "r0"]', '"g0"]').replace("[board.ladder]", SECOND)
    alike = Project(good=True, board=board, pictures={"a": "lamps 1\n1", "b": "lamps 1\n2"})
    expected = (
        "memory 'second' cannot tell banks 0 and 1 apart, so the build fails unless 'a' and 'b' are the same in it; "
        "add bank0 to its address"
    )
    for light, status in (("2", 0), ("4", 1)):
        recipe = write(alike)
        (recipe.parent / "b.lamps").write_text(f"lamps 1\n{light}")
        cautions = [found.message for found in readiness(load(recipe)).findings if found.level == "caution"]
        assert cautions.count(expected) == 1
        assert main(["build", str(recipe)]) == status
        capsys.readouterr()


def test_what_a_header_shows_is_a_caution(write: Write) -> None:
    found = readiness(load(write(Project(good=True, pictures={"old": "lamps 1\n1"})))).findings
    assert [(one.where, one.message) for one in found if one.level == "caution"] == [("old.lamps", "is old")]


def test_strict_takes_cautions_for_errors(write: Write, capsys: pytest.CaptureFixture[str]) -> None:
    clean = write(Project(good=True))
    assert main(["check", str(clean), "--json", "--strict"]) == 0
    assert json.loads(capsys.readouterr().out)["ok"] is True
    assert main(["build", str(clean), "--strict"]) == 0
    manifest = (clean.parent / "out" / "manifest.json").read_bytes()
    old = write(Project(good=True, pictures={"old": "lamps 1\n1"}))
    capsys.readouterr()
    assert main(["check", str(old), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["ok"] is True
    assert main(["check", str(old), "--json", "--strict"]) == 1
    document = json.loads(capsys.readouterr().out)
    assert document["ok"] is False
    assert {"level": "error", "where": "old.lamps", "message": "is old"} in document["findings"]
    assert main(["build", str(old), "--strict"]) == 1
    assert "old.lamps: is old" in capsys.readouterr().err
    assert (clean.parent / "out" / "manifest.json").read_bytes() == manifest
    assert main(["build", str(old)]) == 0


def test_the_last_build_is_no_reason_for_strict_to_refuse(write: Write, capsys: pytest.CaptureFixture[str]) -> None:
    recipe = write(Project(good=True))
    assert main(["build", str(recipe)]) == 0
    (recipe.parent / "a.lamps").write_text("lamps 1\n7")
    capsys.readouterr()
    assert main(["check", str(recipe), "--json", "--strict"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [one["where"] for one in document["findings"] if one["level"] == "caution"] == ["last build"]
    assert main(["build", str(recipe), "--strict"]) == 0
