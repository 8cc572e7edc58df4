"""Pictures dealt to trays: which go where, what is written, recorded and recognised by tray."""

from __future__ import annotations

import json
import random
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from ladderlight import commands
from ladderlight.cache.store import Cache
from ladderlight.engine.plan import Plan
from ladderlight.engine.runner import Chain
from ladderlight.engine.trays import deal
from ladderlight.errors import ArrangementError
from ladderlight.proof.scanout import picture_codes
from ladderlight.recipe import load
from ladderlight.workspace.last_build import last_build
from ladderlight.workspace.made_from import MadeFrom

from ...boards import FOUR_BANKS

RECIPE = f"""
format = 1

{FOUR_BANKS}
[pictures]
files = ["p*.pgm"]
%s

[[stage]]
use = "resize"

[[stage]]
use = "nearest"

[[stage]]
use = "%s"

[[stage]]
use = "binary"
%s
"""

Make = Callable[..., Path]


@pytest.fixture
def make(tmp_path: Path) -> Make:
    """Write a recipe of four banks for some pictures, each of black and white pixels of its own."""

    def made(
        count: int, pictures: str = 'per_tray = "banks"', *, more: str = "", arrange: str = "bank_pictures"
    ) -> Path:
        for picture in tmp_path.glob("p*.pgm"):
            picture.unlink()
        for number in range(1, count + 1):
            noise = random.Random(number)
            pixels = bytes(noise.choice([0, 255]) for _ in range(150))
            (tmp_path / f"p{number}.pgm").write_bytes(b"P5 10 15 255\n" + pixels)
        (tmp_path / "recipe.toml").write_text(RECIPE % (pictures, arrange, more), encoding="utf-8")
        return tmp_path / "recipe.toml"

    return made


def dealt(path: Path, **frames: int) -> dict[int | None, list[str]]:
    """The names in each tray; ``frames`` are of files that have more than one."""
    recipe = load(path)
    counts = {file: frames.get(Path(file.source).stem, 1) for file in recipe.files}
    return {
        tray.number: [*(Path(file.source).stem for file in tray.files), *tray.cards]
        for tray in deal(Plan(recipe=recipe), counts)
    }


def test_pictures_are_dealt_in_order_with_cards_after_them(make: Make) -> None:
    assert dealt(make(6, 'per_tray = "banks"\ncards = ["addresses", "addresses", "addresses"]')) == {
        1: ["p1", "p2", "p3", "p4"],
        2: ["p5", "p6", "addresses", "addresses~2"],
        3: ["addresses~3"],
    }
    assert dealt(make(3, "per_tray = 2")) == {1: ["p1", "p2"], 2: ["p3"]}
    assert dealt(make(3, "")) == {None: ["p1", "p2", "p3"]}


def test_overrides_name_tray_and_bank(make: Make) -> None:
    more = '[[picture]]\nmatch = "p5.pgm"\ntray = 1\nbank = 3\n\n[[picture]]\nmatch = "p[12].pgm"\nbank = 0\n'
    assert dealt(make(7, more=more)) == {1: ["p1", "p3", "p4", "p5"], 2: ["p2", "p6", "p7"]}
    card = 'per_tray = 2\ncards = [{ use = "addresses", tray = 1 }]'
    assert dealt(make(2, card)) == {1: ["p1", "addresses"], 2: ["p2"]}


def test_frames_of_an_animation_stay_in_one_tray(make: Make) -> None:
    assert dealt(make(4), p2=3, p3=2) == {1: ["p1", "p2"], 2: ["p3", "p4"]}
    assert dealt(make(4), p1=2, p2=3) == {1: ["p1"], 2: ["p2", "p3"], 3: ["p4"]}
    with pytest.raises(ArrangementError, match=r"^p2\.pgm: 5 frames must stay in one tray, but per_tray allows 4; "):
        dealt(make(4), p2=5)
    films = 'frames"\nmatch = "p[13].pgm"\n\n[[stage]]\nuse = "bank_pictures"\nmatch = "p[24].pgm'
    assert dealt(make(4, "per_tray = 3", arrange=films)) == {1: ["p1", "p2", "p3"], 2: ["p4"]}
    apart = '[[picture]]\nmatch = "p1.pgm"\ntray = 1\n\n[[picture]]\nmatch = "p3.pgm"\ntray = 2\n'
    with pytest.raises(ArrangementError, match=r"^p1\.pgm: an animation cannot be in trays 1, 2; choose one of them$"):
        dealt(make(4, "per_tray = 3", arrange=films, more=apart))


def test_check_lists_the_trays(make: Make, capsys: pytest.CaptureFixture[str]) -> None:
    path = make(5, 'per_tray = "banks"\ncards = ["addresses"]')
    assert commands.main(["check", "--verbose", str(path)]) == 0
    listed = [line for line in capsys.readouterr().out.splitlines() if line.startswith("tray ")]
    assert listed == ["tray 1   p1.pgm, p2.pgm, p3.pgm, p4.pgm", "tray 2   p5.pgm, addresses"]


def test_each_tray_is_a_whole_set_of_files_that_shows_its_pictures(make: Make, tmp_path: Path) -> None:
    path = make(6)
    assert commands.main(["build", "--quiet", str(path)]) == 0
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text())
    assert [(p["name"], p["tray"], p["bank"]) for p in manifest["pictures"]] == [
        *((f"p{number + 1}", 1, number) for number in range(4)),
        ("p5", 2, 0),
        ("p6", 2, 1),
    ]
    assert [(d["name"], d["tray"], d["file"]) for d in manifest["devices"]] == [
        ("picture", 1, "tray-01/picture.bin"),
        ("picture", 2, "tray-02/picture.bin"),
    ]
    board = load(path).board
    for picture in manifest["pictures"]:
        data = (tmp_path / "out" / "devices" / f"tray-{picture['tray']:02d}" / "picture.bin").read_bytes()
        words = np.frombuffer(data, dtype=np.uint8).astype(np.uint32)
        source = (tmp_path / picture["source"]).read_bytes()[-150:]
        assert np.array_equal(
            picture_codes(board, {"picture": words}, picture["bank"]),
            np.frombuffer(source, dtype=np.uint8).reshape(15, 10) // 255,
        )
    for device in manifest["devices"]:
        data = (tmp_path / "out" / "devices" / device["file"]).read_bytes()
        assert int(device["crc32"], 16) == zlib.crc32(data)
    proof = tmp_path / "out" / "proof"
    for number, banks in ((1, 4), (2, 2)):
        folder = proof / f"tray-{number:02d}"
        screens = sorted(file.name for file in (folder / "screens").iterdir())
        assert screens == [f"bank{bank}.png" for bank in range(banks)]
        page = (folder / "index.html").read_text(encoding="utf-8")
        assert f"tray-{number:02d}/picture.bin" in page
        assert f'<a href="tray-{number:02d}/index.html">' in (proof / "index.html").read_text(encoding="utf-8")
    sheet = (tmp_path / "out" / "burn-sheet.txt").read_text(encoding="utf-8")
    assert "Burn 2 of 2: tray 1, picture; tray 2, picture." in sheet
    page = (tmp_path / "out" / "burn-sheet.html").read_text(encoding="utf-8")
    assert "<li><b>tray 2, picture</b> 2716" in page
    for device in manifest["devices"]:
        assert f"  file      devices/{device['file']}" in sheet.splitlines()
        assert f"<span>devices/{device['file']}</span>" in page


def burns(folder: Path) -> list[str]:
    manifest = json.loads((folder / "out" / "manifest.json").read_text())
    return [device["burn"]["text"] for device in manifest["devices"]]


def test_only_a_tray_that_changed_is_burned_again(
    make: Make, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = make(6)
    commands.main(["build", "--quiet", str(path)])
    assert commands.main(["burned", "--quiet", str(path), "--tray", "2"]) == 0
    commands.main(["build", "--quiet", str(path)])
    assert burns(tmp_path) == ["no record of this chip; burn it", "holds this already"]
    assert commands.main(["burned", "--quiet", str(path)]) == 0
    (tmp_path / "p6.pgm").write_bytes((tmp_path / "p5.pgm").read_bytes())
    commands.main(["build", "--quiet", str(path)])
    first, second = burns(tmp_path)
    assert first == "holds this already"
    assert second.startswith("differs from the last build in")
    capsys.readouterr()
    assert commands.main(["burned", str(path), "--tray", "3"]) == 2
    assert capsys.readouterr().err == "the last build has no tray 3; use 1 or 2\n"


def test_chips_recorded_before_there_were_trays_are_those_of_the_first(make: Make, tmp_path: Path) -> None:
    commands.main(["build", "--quiet", str(make(4, ""))])
    commands.main(["burned", "--quiet", str(tmp_path / "recipe.toml")])
    commands.main(["build", "--quiet", str(make(6))])
    assert burns(tmp_path) == ["holds this already", "no record of this chip; burn it"]


def test_compare_and_decode_find_the_tray_by_content(
    make: Make, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = make(6)
    commands.main(["build", "--quiet", str(path)])
    held = [(tmp_path / "out" / "devices" / f"tray-0{number}" / "picture.bin").read_bytes() for number in (1, 2)]
    for name, data in (("a", held[1]), ("b", held[0]), ("bad", bytes([held[1][0] ^ 1]) + held[1][1:])):
        (tmp_path / f"{name}.bin").write_bytes(data)
    (tmp_path / "blank.bin").write_bytes(b"\xff" * 2048)
    dumps = [str(tmp_path / f"{name}.bin") for name in ("a", "b", "bad", "blank")]
    assert commands.main(["compare", "--json", str(path), *dumps[:2]]) == 0
    assert [(d["tray"], d["same"]) for d in json.loads(capsys.readouterr().out)["devices"]] == [(1, True), (2, True)]
    assert commands.main(["compare", "--json", str(path), dumps[2]]) == 1
    found = json.loads(capsys.readouterr().out)
    assert (found["tray"], found["count"], found["differences"][0]["pictures"]) == (2, 1, ["p5"])
    assert commands.main(["compare", str(path), dumps[3]]) == 2
    assert capsys.readouterr().err.endswith("cannot identify the tray by content; add --tray with 1 or 2\n")
    assert commands.main(["compare", "--json", str(path), dumps[3], "--tray", "2"]) == 1
    assert json.loads(capsys.readouterr().out)["tray"] == 2
    (tmp_path / "tray-01").mkdir()
    (tmp_path / "tray-01" / "blank.bin").write_bytes(b"\xff" * 2048)
    assert commands.main(["compare", "--json", str(path), str(tmp_path / "tray-01" / "blank.bin")]) == 1
    assert json.loads(capsys.readouterr().out)["tray"] == 1
    assert commands.main(["decode", "--json", str(path), *dumps[:2], "--into", str(tmp_path / "pictures")]) == 0
    assert len(json.loads(capsys.readouterr().out)["pictures"]) == 8
    assert (tmp_path / "pictures" / "tray-02" / "bank1.png").exists()


def test_without_per_tray_too_many_pictures_name_it_before_anything_is_opened(
    make: Make, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = make(6, "")

    def opened(*_: object, **__: object) -> None:
        raise AssertionError("a picture was decoded")

    monkeypatch.setattr("ladderlight.engine.work.open_file", opened)
    for command in ("check", "build"):
        assert commands.main([command, str(path)]) == 1
        printed = " ".join("".join(capsys.readouterr()).split())
        assert "6 banks are needed, but the wiring has 4; left over: 'p5', 'p6'" in printed
        assert 'deal them to trays with per_tray = "banks" in [pictures], none with a tray of its own,' in printed


@pytest.mark.parametrize(
    ("pictures", "more", "message"),
    [
        ('per_tray = "bank"', "", """per_tray is 'bank'; write "banks", or a number of pictures such as 4"""),
        ("per_tray = 0", "", "per_tray is 0, which is out of range; use 1 to 65536"),
        ("per_tray = true", "", 'per_tray is true; write "banks", or a number of pictures such as 4'),
        (
            "",
            '[[picture]]\nmatch = "p1.pgm"\ntray = 2',
            'tray is 2, but all pictures go into one set of chips; add per_tray = "banks" to [pictures]',
        ),
    ],
)
def test_mistakes(make: Make, capsys: pytest.CaptureFixture[str], pictures: str, more: str, message: str) -> None:
    assert commands.main(["check", str(make(2, pictures, more=more))]) == 1
    assert capsys.readouterr().err.rstrip().partition(": ")[2] == message


def test_a_tray_that_is_asked_for_too_often_is_an_error_of_that_tray(
    make: Make, capsys: pytest.CaptureFixture[str]
) -> None:
    path = make(6, more='[[picture]]\nmatch = "p*.pgm"\ntray = 2\n')
    assert commands.main(["build", str(path)]) == 1
    assert "tray 2, bank_pictures: 6 banks are needed, but the wiring has 4" in capsys.readouterr().err


def test_keep_going_builds_the_trays_without_bad_pictures(
    make: Make, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = make(9)
    commands.main(["build", "--quiet", str(path)])
    whole = {
        number: (tmp_path / "out/devices" / f"tray-0{number}" / "picture.bin").read_bytes() for number in (1, 2, 3)
    }
    (tmp_path / "p6.pgm").write_bytes(b"P5 10 15 255\n" + bytes(20))  # cut short: its header is good
    (tmp_path / "p7.pgm").write_bytes(b"")
    assert commands.main(["build", str(path)]) == 1
    assert (tmp_path / "out" / "devices" / "tray-02" / "picture.bin").read_bytes() == whole[2]
    capsys.readouterr()
    assert commands.main(["build", "--quiet", "--keep-going", str(path)]) == 1
    told = [line.split(": ")[0].removeprefix("error").strip() for line in capsys.readouterr().err.splitlines()]
    assert sorted(set(told)) == ["p6.pgm", "p7.pgm", "tray 2"]
    assert sorted(entry.name for entry in (tmp_path / "out" / "devices").iterdir()) == ["tray-01", "tray-03"]
    for number in (1, 3):
        assert (tmp_path / "out/devices" / f"tray-0{number}" / "picture.bin").read_bytes() == whole[number]
    assert commands.main(["build", "--json", "--keep-going", str(path)]) == 1
    assert json.loads(capsys.readouterr().out)["ok"] is False


def test_check_names_the_trays_that_were_left_out(
    make: Make, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = make(9)
    (tmp_path / "p6.pgm").write_bytes(b"P5 10 15 255\n" + bytes(20))  # cut short: its header is good
    assert commands.main(["build", "--quiet", "--keep-going", str(path)]) == 1
    capsys.readouterr()
    assert commands.main(["check", str(path)]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "last build: lacks tray 2, left out because of bad pictures; correct these, and build again" in told


def test_gaps_between_trays_are_a_caution(make: Make, capsys: pytest.CaptureFixture[str]) -> None:
    path = make(2, more='[[picture]]\nmatch = "p2.pgm"\ntray = 5\n')
    for command in (["check"], ["build"]):
        assert commands.main([*command, str(path)]) == 0
        told = " ".join("".join(capsys.readouterr()).split())
        assert "nothing is dealt to trays 2 to 4, which are left out; number trays without gaps" in told
    assert commands.main(["build", "--strict", str(path)]) == 1, "not up to date: a caution is an error"


def test_keep_going_builds_nothing_when_every_tray_has_a_bad_picture(
    make: Make, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = make(2)
    (tmp_path / "p2.pgm").write_bytes(b"")
    assert commands.main(["build", "--keep-going", str(path)]) == 1
    assert capsys.readouterr().err.startswith("p2.pgm: empty")
    assert not (tmp_path / "out" / "manifest.json").exists()


def test_a_tray_is_read_only_from_the_build_whose_manifest_was_read(make: Make) -> None:
    path = make(6)
    commands.main(["build", "--quiet", str(path)])
    recipe = load(path)
    build = last_build(recipe.output, recipe.board, recipe.owner)
    assert build.numbers() == (1, 2)
    assert build.tray(2).pictures == {0: ["p5"], 1: ["p6"]}
    commands.main(["build", "--quiet", "--force", str(path)])
    with pytest.raises(Exception, match="another build has replaced this one; run the command again"):
        build.tray(2)


def test_trays_that_are_as_the_last_build_made_them_are_not_made_again(
    make: Make, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LADDERLIGHT_CACHE_DIR", str(tmp_path / "cache"))
    path, out = make(12), tmp_path / "out"
    made = []
    arrange = Chain.arrange
    monkeypatch.setattr(
        Chain,
        "arrange",
        lambda chain, coded: made.append([each.origin.name for each in coded]) or arrange(chain, coded),
    )

    def built() -> list[list[str]]:
        """Build; return which trays were made, after comparing the output with that of a build of everything."""
        made.clear()
        assert commands.main(["build", "--quiet", str(path)]) == 0
        found, trays = contents(), sorted(made)  # threads make them
        assert commands.main(["build", "--quiet", "--force", "--no-cache", str(path)]) == 0
        assert contents() == found
        return trays

    def contents() -> dict[str, bytes]:
        files = (each for part in ("devices", "proof", "burn-sheet.txt", "manifest.json") for each in below(out / part))
        return {str(each): each.read_bytes() for each in files}

    first, second, third = ([f"p{number}" for number in range(start, start + 4)] for start in (1, 5, 9))
    assert built() == [first, second, third]
    (tmp_path / "p7.pgm").write_bytes((tmp_path / "p6.pgm").read_bytes())
    assert built() == [second]
    assert commands.main(["burned", "--quiet", str(path), "--tray", "1"]) == 0
    assert built() == [first]
    next(iter(below(out / "devices" / "tray-01"))).write_bytes(b"of the user")
    (tmp_path / "p9.pgm").write_bytes((tmp_path / "p6.pgm").read_bytes())
    assert built() == [first, third]
    (out / "proof" / "tray-02" / "index.html").unlink()
    assert built() == [second]


@pytest.mark.parametrize(("body", "kept"), [("picture", True), ("open('tide.txt') and picture", False)])
def test_trays_of_plugins_that_read_files_are_always_made(make: Make, tmp_path: Path, body: str, kept: bool) -> None:
    path = make(2, arrange='tide"\n\n[[stage]]\nuse = "bank_pictures')
    path.write_text(path.read_text().replace("format = 1", 'format = 1\nplugins = ["tide.py"]'))
    (tmp_path / "tide.py").write_text(
        "from ladderlight import CodedPicture, stage\n\n"
        "@stage(help='Reads the tide.')\n"
        f"def tide(picture: CodedPicture) -> CodedPicture:\n    return {body}\n"
    )
    recipe = load(path)
    assert (MadeFrom(recipe=recipe, cache=Cache.of_user()).look().kept_trays(Plan(recipe=recipe)) is not None) == kept


def below(place: Path) -> list[Path]:
    return [place] if place.is_file() else sorted(each for each in place.rglob("*") if each.is_file())
