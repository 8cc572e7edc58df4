"""Test cards among the pictures of a build."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from ladderlight import commands
from ladderlight.engine.cards import fitting_cards, with_cards
from ladderlight.engine.plan import Plan
from ladderlight.engine.runner import Chain
from ladderlight.proof.scanout import picture_codes
from ladderlight.recipe import load
from ladderlight.testing import run_stage
from ladderlight_stages.cards.addresses import addresses

from ...boards import FOUR_BANKS

RECIPES = Path(__file__).parents[3] / "recipes"
RECIPE = f"""
format = 1
plugins = ["wave.py"]

{FOUR_BANKS}
[pictures]
"""

WAVE = """
import numpy as np
from ladderlight import Board, CodedPicture, Origin, stage



@stage(help="Shows its bank: so many pixels are lit.")
def wave(board: Board, origin: Origin) -> CodedPicture:
    codes = np.zeros((board.geometry.height, board.geometry.width), dtype=np.uint16)
    codes.ravel()[: origin.bank] = 1
    return CodedPicture.of_card(codes)
"""


@pytest.fixture
def built(tmp_path: Path) -> Callable[..., dict]:
    """Build cards, and give the manifest."""

    def build(pictures: str) -> dict:
        (tmp_path / "wave.py").write_text(WAVE, encoding="utf-8")
        (tmp_path / "grey.pgm").write_bytes(b"P5 4 3 255\n" + bytes(range(0, 240, 20)))
        (tmp_path / "wave.pgm").write_bytes(b"P5 4 3 255\n" + bytes(range(0, 240, 20)))
        (tmp_path / "recipe.toml").write_text(RECIPE + pictures, encoding="utf-8")
        assert commands.main(["build", "--quiet", str(tmp_path / "recipe.toml")]) == 0
        return json.loads((tmp_path / "out" / "manifest.json").read_text(encoding="utf-8"))

    return build


def shown(folder: Path, bank: int) -> np.ndarray:
    """The codes of a bank, read from the device file."""
    board = load(folder / "recipe.toml").board
    words = np.frombuffer((folder / "out" / "devices" / "picture.bin").read_bytes(), dtype=np.uint8)
    return picture_codes(board, {"picture": words.astype(np.uint32)}, bank)


def places(manifest: dict) -> list[tuple[str, str, int]]:
    return [(entry["name"], entry["source"], entry["bank"]) for entry in manifest["pictures"]]


def test_cards_stand_after_the_files_with_a_bank_each(built: Callable[..., dict], tmp_path: Path) -> None:
    manifest = built('files = ["grey.pgm", "wave.pgm"]\ncards = ["addresses", "wave"]')
    assert places(manifest) == [
        ("grey", "grey.pgm", 0),
        ("wave", "wave.pgm", 1),
        ("addresses", "addresses", 2),
        ("wave~2", "wave", 3),
    ]
    board = load(tmp_path / "recipe.toml").board
    assert np.array_equal(shown(tmp_path, 2), run_stage(addresses, None, board).codes)
    assert shown(tmp_path, 3).sum() == 3
    assert (tmp_path / "out" / "proof" / "screens" / "bank3.png").exists()
    assert [item["file"] for item in manifest["inputs"]][-2:] == ["grey.pgm", "wave.pgm"]


def test_a_card_that_asks_shows_the_bank_that_it_is_in(built: Callable[..., dict], tmp_path: Path) -> None:
    manifest = built('files = ["grey.pgm"]\ncards = ["wave", { use = "wave", bank = 0 }, "wave"]')
    assert places(manifest)[1:] == [("wave", "wave", 2), ("wave~2", "wave", 0), ("wave~3", "wave", 3)]
    for entry in manifest["pictures"][1:]:
        assert shown(tmp_path, entry["bank"]).sum() == entry["bank"]


def test_a_recipe_can_have_cards_alone(built: Callable[..., dict]) -> None:
    assert places(built('cards = ["wave"]')) == [("wave", "wave", 0)]


def test_too_many_cards_are_refused_before_anything_is_drawn(
    built: Callable[..., dict], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    built('cards = ["wave"]')
    pictures = 'files = ["grey.pgm"]\ncards = ["wave", "wave", "addresses", "wave"]'
    (tmp_path / "recipe.toml").write_text(RECIPE + pictures, encoding="utf-8")
    for command in ("check", "build"):
        assert commands.main([command, str(tmp_path / "recipe.toml")]) == 1
        printed = capsys.readouterr()
        message = "5 banks are needed, but the wiring has 4; left over: 'wave~3'"
        assert message in " ".join((printed.out + printed.err).split())


def test_check_lists_the_cards(tmp_path: Path, capsys: pytest.CaptureFixture[str], built: Callable[..., dict]) -> None:
    built('cards = ["wave", "addresses"]')
    capsys.readouterr()
    assert commands.main(["check", "--verbose", str(tmp_path / "recipe.toml")]) == 0
    assert [line.split() for line in capsys.readouterr().out.splitlines() if line.startswith("card")] == [
        ["card", "wave"],
        ["card", "addresses"],
    ]


def test_a_build_of_cards_leaves_the_normal_output_alone(
    built: Callable[..., dict], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = built('files = ["grey.pgm"]')
    stamps = {path: path.stat().st_mtime_ns for path in (tmp_path / "out").rglob("*")}
    capsys.readouterr()
    assert commands.main(["build", "--cards", "--json", str(tmp_path / "recipe.toml")]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["output"] == str(tmp_path / "out-cards")
    assert places(document["manifest"]) == [
        (name, name, bank) for bank, name in enumerate(["border", "bars", "addresses", "number"])
    ]
    assert document["findings"][0]["message"] == (
        "no bank is left for ramps, lines, codes and checkers; list them under cards in [pictures] to build them"
    )
    assert {path: path.stat().st_mtime_ns for path in (tmp_path / "out").rglob("*")} == stamps
    assert json.loads((tmp_path / "out" / "manifest.json").read_text(encoding="utf-8")) == before


def test_a_build_of_cards_needs_no_pictures_and_takes_the_files_of_the_programmer(tmp_path: Path) -> None:
    text = RECIPE.replace('plugins = ["wave.py"]\n', "").replace("[pictures]\n", "")
    for stage in ("nearest", "bank_pictures", "intel_hex"):
        text += f'[[stage]]\nuse = "{stage}"\n'
    (tmp_path / "recipe.toml").write_text(text, encoding="utf-8")
    assert commands.main(["build", "--cards", "--quiet", str(tmp_path / "recipe.toml")]) == 0
    assert [path.name for path in (tmp_path / "out-cards" / "devices").iterdir()] == ["picture.hex"]


def test_a_second_build_of_cards_replaces_the_first_and_no_other_file(
    tmp_path: Path, built: Callable[..., dict], capsys: pytest.CaptureFixture[str]
) -> None:
    built('cards = ["wave"]')
    recipe = str(tmp_path / "recipe.toml")
    assert [commands.main(["build", "--cards", "--quiet", recipe]) for _ in range(2)] == [0, 0]
    (tmp_path / "other.toml").write_text((tmp_path / "recipe.toml").read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "out-cards" / "chart.txt").write_text("9 fathoms", encoding="utf-8")
    capsys.readouterr()
    assert commands.main(["build", "--cards", "--quiet", str(tmp_path / "other.toml")]) == 1
    assert "out-cards" in capsys.readouterr().err
    assert commands.main(["build", "--cards", "--quiet", recipe]) == 0
    assert (tmp_path / "out-cards" / "chart.txt").read_text(encoding="utf-8") == "9 fathoms"


@pytest.mark.parametrize(
    ("recipe", "banks", "left"),
    [
        ("tide-chart", ["border", "addresses", "number", "checkers"], ["bars", "ramps", "lines", "codes"]),
        ("sea-window", ["border", "bars", "addresses", "number"], []),
        ("evening-window", ["border", "bars", "addresses", "number", "checkers"], ["ramps", "lines", "codes"]),
        ("survey-desk", ["border", "bars"], []),
    ],
)
def test_cards_fit_together_on_boards_of_every_kind(recipe: str, banks: list[str], left: list[str]) -> None:
    loaded, notes = fitting_cards(load(RECIPES / recipe / "recipe.toml", pictures="cards"))
    assert [card.declaration.name for card in loaded.cards] == banks
    assert [note.where for note in notes if note.where != "cards"] == [f"card {name}" for name in left]
    coded = with_cards(loaded, Chain(recipe=loaded).code_pictures(), Plan(recipe=loaded).cards)
    contents = Chain(recipe=loaded).arrange(coded)
    words = {name: memory.words for name, memory in contents.memories.items()}
    for picture, placed in zip(coded, contents.pictures, strict=True):
        assert np.array_equal(picture_codes(loaded.board, words, placed.bank), picture.codes)
