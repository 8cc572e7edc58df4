"""Trays that are made at once, by threads."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from ladderlight.engine.runner import Chain
from ladderlight.errors import ArrangementError
from ladderlight.flow.pictures import CodedPicture, Contents
from ladderlight.recipe import Recipe, load
from ladderlight.workspace.build import build

from ...boards import FOUR_BANKS

TRAYS = 5


@pytest.fixture
def recipe(tmp_path: Path) -> Recipe:
    for number in range(TRAYS):
        (tmp_path / f"p{number}.pgm").write_bytes(b"P5 10 15 255\n" + bytes([0] * number + [255] * (150 - number)))
    path = tmp_path / "recipe.toml"
    path.write_text(f'format = 1\n\n{FOUR_BANKS}\n[pictures]\nfiles = ["p*.pgm"]\nper_tray = 1\n')
    return load(path)


def test_as_many_as_there_are_workers_and_the_result_is_the_same(
    recipe: Recipe, monkeypatch: pytest.MonkeyPatch
) -> None:
    arrange, alone = Chain.arrange, threading.Lock()
    made, here, most = [], [], 0

    def counted(self: Chain, coded: Sequence[CodedPicture]) -> Contents:
        nonlocal most
        with alone:
            here.append(coded)
            most = max(most, len(here))
        time.sleep(0.02)
        with alone:
            here.pop()
        return arrange(self, coded)

    monkeypatch.setattr(Chain, "arrange", counted)
    for workers in (1, 3):
        most = 0
        built = build(recipe, workers=workers, cached=False)
        assert most == workers
        assert [device["tray"] for device in built.manifest.devices] == list(range(1, TRAYS + 1))
        files = (path for path in recipe.output.rglob("*") if path.is_file() and ".ladderlight" not in path.parts)
        made.append({path: path.read_bytes() for path in files})
    assert made[0] == made[1]


def test_the_first_tray_that_fails_is_named_and_nothing_is_left(
    recipe: Recipe, monkeypatch: pytest.MonkeyPatch
) -> None:
    arrange, failed = Chain.arrange, threading.Event()

    def failing(self: Chain, coded: Sequence[CodedPicture]) -> Contents:
        match coded[0].origin.name:
            case "p1":
                failed.wait(5)
                raise ArrangementError("no room")
            case "p2":
                failed.set()
                raise ArrangementError("no room either")
        return arrange(self, coded)

    monkeypatch.setattr(Chain, "arrange", failing)
    with pytest.raises(ArrangementError, match=r"^tray 2, pictures: no room$"):
        build(recipe, workers=2, cached=False)
    assert not recipe.output.exists() or [each.name for each in recipe.output.iterdir()] == [".ladderlight"]
