"""What becomes of a build whose cache is damaged, lost, full or another's: nothing."""

from __future__ import annotations

import errno
import os
import random
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from ladderlight.cache.entries import DamagedError, Entry, EntryWriter
from ladderlight.cache.folder import VARIABLE
from ladderlight.cache.store import Cache
from ladderlight.engine.entries import is_plain, pictures_of
from ladderlight.engine.runner import Chain
from ladderlight.recipe import Recipe, load
from ladderlight.workspace.build import build

from ...boards import COLOURS

RECIPE = f"""
format = 1
[project]
name = "Merrowhithe slipway"
{COLOURS}
[pictures]
files = ["*.png", "*.gif"]
[[stage]]
use = "resize"
[[stage]]
use = "few_colours"
count = 4
share = "all"
[[stage]]
use = "bank_pictures"
[[stage]]
use = "binary"
"""


@pytest.fixture
def recipe(tmp_path: Path) -> Recipe:
    """Two pictures and an animation, with a survey of all."""
    folder = tmp_path / "project"
    folder.mkdir()
    colours = np.random.default_rng(7)
    for name in ("winch", "slip"):
        Image.fromarray(colours.integers(0, 256, (40, 50, 3), dtype=np.uint8)).save(folder / f"{name}.png")
    frames = [Image.fromarray(colours.integers(0, 256, (15, 20, 3), dtype=np.uint8)) for _ in range(3)]
    frames[0].save(folder / "blink.gif", save_all=True, append_images=frames[1:], duration=100)
    (folder / "recipe.toml").write_text(RECIPE)
    return load(folder / "recipe.toml")


def made(recipe: Recipe) -> dict[str, bytes]:
    """Build, and return the files."""
    out = build(recipe).output
    return {
        path.relative_to(out).as_posix(): path.read_bytes()
        for path in out.rglob("*")
        if path.is_file() and path.suffix != ".lock"
    }


def entries(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file() and path.name != ".used")


def test_a_second_build_runs_no_stage(recipe: Recipe, monkeypatch: pytest.MonkeyPatch) -> None:
    before = made(recipe)
    monkeypatch.setattr("ladderlight.engine.work.Work._run_stage", None)
    monkeypatch.setattr("ladderlight.engine.work.open_file", None)
    assert made(recipe) == before


def test_a_changed_ladder_needs_no_header_again(recipe: Recipe, monkeypatch: pytest.MonkeyPatch) -> None:
    made(recipe)
    recipe.path.write_text(RECIPE.replace('r0 = "470"', 'r0 = "430"'))
    monkeypatch.setattr("ladderlight.stages.boundary.HooksOf.probe", None)
    assert made(load(recipe.path))


def cut(paths: list[Path], chance: random.Random) -> None:
    for path in paths:
        path.write_bytes(path.read_bytes()[: chance.randrange(path.stat().st_size)])


def change(paths: list[Path], chance: random.Random) -> None:
    for path in paths:
        data = bytearray(path.read_bytes())
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        path.write_bytes(data)


def swap(paths: list[Path], chance: random.Random) -> None:
    held = [path.read_bytes() for path in paths]
    chance.shuffle(held)
    for path, data in zip(paths, held, strict=True):
        path.write_bytes(data)


def lose(paths: list[Path], chance: random.Random) -> None:
    for path in chance.sample(paths, len(paths) // 2):
        path.unlink()


def empty(paths: list[Path], chance: random.Random) -> None:
    for path in paths:
        path.write_bytes(b"")


def replace_whole(paths: list[Path], chance: random.Random) -> None:
    """Leave entries that are whole, but not of pictures."""
    for path in paths:
        with path.open("wb") as file:
            writer = EntryWriter(file)
            writer.add(b"[]")
            writer.end(path, path.name, {"tide": chance.random()})


@pytest.mark.parametrize("damage", [cut, change, swap, lose, empty, replace_whole])
@pytest.mark.parametrize("seed", range(3))
def test_damage_changes_nothing(
    recipe: Recipe, own_cache: Path, damage: Callable[[list[Path], random.Random], None], seed: int
) -> None:
    before = made(recipe)
    damage(entries(own_cache), random.Random(seed))
    for _ in range(2):
        now = made(recipe)
        different = [name for name in before.keys() | now.keys() if before.get(name) != now.get(name)]
        assert not different


def test_an_entry_of_something_else_has_no_pictures_but_is_damaged(tmp_path: Path) -> None:
    path = tmp_path / "entry"
    replace_whole([path], random.Random(0))
    entry = Entry.open(path, path.name)
    assert entry is not None
    with pytest.raises(DamagedError):
        list(pictures_of(entry))


@pytest.mark.parametrize(
    ("value", "plain"),
    [
        ({"note": ["grün", (2.5, None, True)], "\udc80": float("nan"), "count": -(10**4000)}, True),
        ("\ud83d" + "\ude00", False),  # comes out of JSON as one character
        ({"count": 10**4300}, False),
        ({1: "one"}, False),
        ([np.float64(0.5)], False),
        (Path("quay.png"), False),
    ],
)
def test_what_would_come_out_of_the_cache_changed_is_not_plain(value: object, *, plain: bool) -> None:
    assert is_plain(value) == plain


def test_what_is_lost_before_it_is_arranged_is_made_again(
    recipe: Recipe, own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = made(recipe)
    arrange = Chain.arrange
    monkeypatch.setattr(Chain, "arrange", lambda *given: (shutil.rmtree(own_cache), arrange(*given))[1])
    assert made(recipe) == before


@pytest.mark.parametrize("writes", [0, 1, 3, 8])
def test_a_disk_that_becomes_full_changes_nothing(
    recipe: Recipe, own_cache: Path, monkeypatch: pytest.MonkeyPatch, writes: int
) -> None:
    before = made(recipe)
    shutil.rmtree(own_cache)
    left = iter(range(writes))
    make_room = Cache.make_room

    def full(cache: Cache, size: int) -> None:
        if next(left, None) is None:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        make_room(cache, size)

    monkeypatch.setattr(Cache, "make_room", full)
    assert made(recipe) == before
    assert not list(own_cache.glob(".part*"))


def test_no_room_at_all_changes_nothing(recipe: Recipe, own_cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = made(recipe)
    shutil.rmtree(own_cache)
    monkeypatch.setattr("ladderlight.cache.store.ROOM", 100)
    assert made(recipe) == before
    assert sum(path.stat().st_size for path in entries(own_cache)) == 0


def test_a_cache_of_another_user_changes_nothing(
    recipe: Recipe, own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = made(recipe)
    held = {path: path.stat().st_mtime_ns for path in entries(own_cache)}
    monkeypatch.setattr("os.geteuid", lambda: os.getuid() + 1)
    assert made(recipe) == before
    assert {path: path.stat().st_mtime_ns for path in entries(own_cache)} == held


@pytest.mark.parametrize("place", ["a file", "a file above", "nowhere"])
def test_a_folder_that_cannot_be_made_changes_nothing(
    recipe: Recipe, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str
) -> None:
    before = made(recipe)
    (tmp_path / "file").write_text("mine")
    places = {"a file": tmp_path / "file", "a file above": tmp_path / "file" / "cache", "nowhere": Path("x" * 3000)}
    monkeypatch.setenv(VARIABLE, str(places[place]))
    assert made(recipe) == before
    assert (tmp_path / "file").read_text() == "mine"


def test_a_picture_that_changes_while_it_is_read_is_not_kept(
    recipe: Recipe, own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Otherwise the new content would be found by the digest of the old."""
    from ladderlight.engine import work

    before = made(recipe)
    shutil.rmtree(own_cache)
    picture = recipe.folder / "slip.png"
    old, read = picture.read_bytes(), work.open_file

    def changing(source: object, path: Path, *given: object, **more: object) -> object:
        if path == picture:
            Image.new("RGB", (50, 40), "white").save(picture)
        return read(source, path, *given, **more)

    with monkeypatch.context() as patched:
        patched.setattr(work, "open_file", changing)
        assert made(recipe)["devices/picture.bin"] != before["devices/picture.bin"]
    picture.write_bytes(old)
    shutil.rmtree(recipe.output)  # the proof says what has changed since the build before
    assert made(recipe) == before


def test_two_builds_at_once_use_one_cache(recipe: Recipe, tmp_path: Path) -> None:
    """Two copies of a project, of which each finds what the other keeps."""
    folders = [tmp_path / name for name in ("one", "two")]
    for folder in folders:
        shutil.copytree(recipe.folder, folder)
    both = [subprocess.Popen([sys.executable, "-m", "ladderlight", "build", "-q", str(folder)]) for folder in folders]
    assert [process.wait(timeout=120) for process in both] == [0, 0]
    assert len({(folder / "out" / "devices" / "picture.bin").read_bytes() for folder in folders}) == 1
    assert (folders[0] / "out" / "devices" / "picture.bin").read_bytes() == made(recipe)["devices/picture.bin"]


def test_coded_pictures_that_the_cache_has_no_room_for_wait_in_a_temporary_folder(
    recipe: Recipe, own_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ladderlight.cache.store.ROOM", 100)
    coded = Chain(recipe=recipe, cache=Cache.of_user()).code_pictures()
    units = list(coded._coded.values())
    assert all(unit.place and not unit.held for unit in units)
    places = [Path(unit.place) for unit in units]
    assert not any(path.is_relative_to(own_cache) for path in places)
    assert len(coded) == 5
    assert {picture.codes.shape for picture in coded} == {(15, 20)}
    del coded, units
    assert not any(path.exists() for path in places)


def test_an_entry_moves_with_all_its_parts_when_the_room_ends_in_the_middle(tmp_path: Path) -> None:
    spare = Cache.for_spare()
    writing = Cache(tmp_path / "cache", room=50_000).write(spare)
    parts = [bytes([value]) * 20_000 for value in range(4)]
    for part in parts:
        writing.add(part)
    entry = writing.end("ab", {})
    assert entry is not None
    assert entry.path == spare.path("ab")
    assert [bytes(entry.read(index)) for index in range(4)] == parts
    assert entries(tmp_path) == []
