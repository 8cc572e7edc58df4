"""What builds say that they change, over several builds of one folder."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from ladderlight.recipe import load
from ladderlight.storage.record import RECORD, digest_of
from ladderlight.workspace.build import build
from ladderlight.workspace.last_build import last_build
from ladderlight.workspace.recorded import record_chips

from ...boards import COLOURS, chain

RECIPE = f"""
format = 1
[project]
name = "Merrowhithe slipway"
output = "out"
{COLOURS.replace("27C512", "PART").replace("bank0-bank3", "bank0-bank1")}
[pictures]
files = ["*.png"]
TRAYS
""" + chain("resize", "nearest", "bank_pictures", "binary")


class Project:
    """A folder with pictures of 20x15 pixels, plain but for one of them in the last column."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.output = folder, folder / "out"
        self.write()

    def write(self, *, part: str = "27C512", trays: str = "", was: str = "", now: str = "") -> None:
        (self.folder / "recipe.toml").write_text(RECIPE.replace("PART", part).replace("TRAYS", trays).replace(was, now))

    def draw(self, name: str, colour: str, *, dot: str | None = None) -> None:
        picture = Image.new("RGB", (20, 15), colour)
        if dot:
            picture.putpixel((19, 0), tuple(255 * (gun in dot) for gun in "rgb"))
        picture.save(self.folder / f"{name}.png")

    def build(self, **options: Any) -> dict[str, Any]:
        """Build, and return what the page and its document say."""
        build(load(self.folder / "recipe.toml"), **options)
        return self.changes()

    def changes(self, tray: str = "") -> dict[str, Any]:
        found: dict[str, Any] = json.loads((self.output / "proof" / tray / "changes.json").read_text())
        return found

    def page(self, tray: str = "") -> str:
        return (self.output / "proof" / tray / "index.html").read_text()

    def files(self) -> dict[str, bytes]:
        return {
            path.relative_to(self.output).as_posix(): path.read_bytes()
            for path in self.output.rglob("*")
            if path.is_file() and path.suffix != ".lock"
        }

    def burn(self) -> None:
        recipe = load(self.folder / "recipe.toml")
        record_chips(recipe, last_build(recipe.output, recipe.board, recipe.owner))


@pytest.fixture
def project(tmp_path: Path) -> Project:
    made = Project(tmp_path)
    for name, colour in (("mole", "red"), ("quay", "lime")):
        made.draw(name, colour)
    return made


def test_builds_of_the_same_are_the_same_and_say_what_the_last_change_was(project) -> None:
    first = project.build()
    assert first["before"] is False
    assert "No earlier build had other contents." in project.page()
    files = project.files()
    project.build()
    assert project.files() == files
    project.draw("quay", "lime", dot="r")
    changed = project.build()
    assert [(p["name"], p["state"], round(p["share"] * 300)) for p in changed["pictures"]] == [("quay", "changed", 1)]
    (device,) = changed["devices"]
    # Bank 1 begins at 200h; column 19 of its first line. Lime there is red now: two bits of one word.
    assert (device["differing"], device["runs"]) == (1, [[0x213, 0x213]])
    assert device["banks"] == [{"bank": 1, "pictures": ["quay"], "differing": 1}]
    assert 'alt="quay before"' in project.page()
    files = project.files()
    assert project.build() == changed
    assert project.files() == files
    assert project.build(cached=False) == changed
    assert project.files() == files


def test_what_differs_from_a_chip_is_said_by_picture_and_with_how_to_erase(project) -> None:
    project.build()
    project.burn()
    project.draw("quay", "lime", dot="r")
    project.build()
    project.draw("mole", "blue")
    project.build()
    text = re.sub(r"\s+", " ", project.page())
    assert "Since it was burned</dt><dd>301 bytes differ: bank 0, mole, 300 bytes; bank 1, quay, 1 byte</dd>" in text
    assert "Since the build before</dt><dd>300 bytes differ, in bank 0, mole</dd>" in text
    assert "differs from the last build in 301 bytes; erase it, then burn it" in text
    project.burn()
    project.build()
    text = re.sub(r"\s+", " ", project.page())
    assert "Since it was burned</dt><dd>no difference</dd>" in text
    assert "Since the build before</dt><dd>300 bytes differ, in bank 0, mole</dd>" in text


def test_a_flash_part_is_erased_by_sectors(project) -> None:
    project.write(part="39SF010A")
    project.build()
    project.burn()
    project.draw("quay", "lime", dot="r")
    project.build()
    assert "in 1 sector at 00000h to 00FFFh; burn it" in project.page()


def test_pictures_come_and_go_and_move(project) -> None:
    project.build()
    project.draw("buoy", "white")
    found = project.build()
    assert [(p["name"], p["state"], p["was"], p["bank"]) for p in found["pictures"]] == [
        ("buoy", "new", None, 0),
        ("mole", "moved", 0, 1),
        ("quay", "moved", 1, 2),
    ]
    (project.folder / "mole.png").unlink()
    assert [(p["name"], p["state"]) for p in project.build()["pictures"]] == [("quay", "moved"), ("mole", "gone")]
    text = re.sub(r"\s+", " ", project.page())
    assert (
        "<li>As before, in another bank: quay (bank 2 to 1)</li> <li>No longer there: mole (was in bank 1)</li>" in text
    )


def test_another_resistor_changes_screens_and_no_chip(project) -> None:
    project.build()
    project.write(was='red = { r0 = "470" }', now='red = { r0 = "680" }')
    found = project.build()
    assert [device["differing"] for device in found["devices"]] == [0]
    assert [(p["name"], p["state"]) for p in found["pictures"]] == [("mole", "changed")]


def test_another_chip_cannot_be_compared_but_its_screens_can(project) -> None:
    project.build()
    project.write(part="27C010")
    project.draw("quay", "blue")
    found = project.build()
    assert [device["differing"] for device in found["devices"]] == [None]
    assert [(p["name"], p["state"]) for p in found["pictures"]] == [("quay", "changed")]
    assert "Since the build before</dt><dd>cannot be compared" in project.page()


def test_device_files_that_were_edited_are_not_taken_for_the_build_s(project) -> None:
    project.build()
    (path,) = (project.output / "devices").iterdir()
    path.write_bytes(bytes(path.stat().st_size))
    (project.output / "proof" / "screens" / "bank1.png").write_bytes(b"no picture")
    project.draw("quay", "blue")
    found = project.build()
    assert [device["differing"] for device in found["devices"]] == [None]
    assert [(p["name"], p["state"]) for p in found["pictures"]] == [("quay", "unknown")]
    assert "Not compared, as the screen of the build before cannot be read: quay (bank 1)" in project.page()


@pytest.mark.parametrize(
    "damage", ['{"format": 1}', "[", '{"format": 2, "before": true, "devices": [], "pictures": []}']
)
def test_a_damaged_document_is_as_good_as_none(project, damage) -> None:
    project.build()
    project.draw("quay", "blue")
    project.build()
    (project.output / "proof" / "changes.json").write_text(damage)
    assert project.build()["before"] is False


def test_each_tray_says_what_it_changes_and_one_that_is_kept_stays(project) -> None:
    project.write(trays="per_tray = 1")
    recipe = project.folder / "recipe.toml"
    build(load(recipe))
    project.draw("quay", "lime", dot="r")
    build(load(recipe))
    assert project.changes("tray-01")["before"] is False
    assert [p["name"] for p in project.changes("tray-02")["pictures"]] == ["quay"]
    second = project.page("tray-02")
    project.draw("mole", "blue")
    build(load(recipe))
    assert [p["name"] for p in project.changes("tray-01")["pictures"]] == ["mole"]
    assert project.page("tray-02") == second
    (project.folder / "mole.png").write_bytes(b"no picture")
    build(load(recipe), keep_going=True)
    assert not (project.output / "proof" / "tray-01").exists()
    assert [p["name"] for p in project.changes("tray-02")["pictures"]] == ["quay"]
    project.draw("mole", "blue")
    build(load(recipe))
    assert project.changes("tray-01")["before"] is False
    assert [p["name"] for p in project.changes("tray-02")["pictures"]] == ["quay"]


@pytest.mark.parametrize(("name", "shown"), [(b"l\xe9gende", r"l\xe9gende"), (b"two\nlines", r"two\nlines")])
def test_names_that_cannot_be_printed_are_known_again(tmp_path: Path, name: bytes, shown: str) -> None:
    project = Project(tmp_path)
    project.draw(os.fsdecode(name), "red")
    project.build()
    project.draw(os.fsdecode(name), "blue")
    changed = project.build()
    assert [(each["name"], each["state"]) for each in changed["pictures"]] == [(shown, "changed")]
    # As builds of before have written it.
    path, record = project.output / "proof" / "changes.json", project.output / RECORD
    before = digest_of(path)
    path.write_text(path.read_text().replace(json.dumps(shown), json.dumps(os.fsdecode(name))))
    record.write_text(record.read_text().replace(before, digest_of(path)))
    project.build(cached=False)
    assert project.changes()["pictures"][0]["state"] == "changed"
