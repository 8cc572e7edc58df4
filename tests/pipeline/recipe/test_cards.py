"""Test cards in recipes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from ladderlight.errors import RecipeError
from ladderlight.recipe import load

from ...boards import FOUR_BANKS

RECIPE = f"""\
format = 1
plugins = ["wave.py"]

{FOUR_BANKS}
[pictures]
"""

WAVE = """\
from typing import Annotated
import numpy as np
from ladderlight import Board, CodedPicture, Option, Origin, Problem, stage



def _too_long(board, options):
    if options["length"] > board.geometry.width:
        yield Problem(where=("length",), what="longer than the picture", action="use less")


@stage(help="Waves.", rule=_too_long)
def wave(
    board: Board,
    origin: Origin,
    *,
    length: Annotated[int, Option("pixels", minimum=1)] = 2,
    mask: Annotated[bytes | None, Option("a file")] = None,
) -> CodedPicture:
    shape = (board.geometry.height, board.geometry.width)
    return CodedPicture.of_card(np.full(shape, origin.bank or 0, dtype=np.uint16) & 1)
"""


@pytest.fixture
def recipe(tmp_path: Path) -> Callable[[str], Path]:
    def write(pictures: str) -> Path:
        (tmp_path / "wave.py").write_text(WAVE, encoding="utf-8")
        (tmp_path / "mask.txt").write_text("foam", encoding="utf-8")
        path = tmp_path / "recipe.toml"
        path.write_text(RECIPE + pictures, encoding="utf-8")
        return path

    return write


def refused(path: Path) -> list[str]:
    with pytest.raises(RecipeError) as caught:
        load(path)
    return [str(fault).removeprefix(f"{path}:") for fault in caught.value.faults]


def test_cards_are_names_or_tables_with_options_bank_and_files(recipe: Callable[[str], Path]) -> None:
    loaded = load(recipe('cards = ["addresses", { use = "wave", bank = 3, length = 4, mask = "mask.txt" }]'))
    assert [card.declaration.name for card in loaded.cards] == ["addresses", "wave"]
    assert [card.bank for card in loaded.cards] == [None, 3]
    assert loaded.cards[1].options == {"length": 4, "mask": b"foam"}
    assert loaded.folder / "mask.txt" in loaded.named


def test_everything_wrong_with_cards_is_reported_at_its_place(recipe: Callable[[str], Path]) -> None:
    path = recipe(
        'cards = ["adresses", "resize", { use = "wave", lenght = 3 }, { use = "wave", length = 0 },\n'
        '  { use = "wave", length = 99 }, { use = "wave", bank = 4 }, { use = "wave", mask = "no.txt" },\n'
        "  { length = 3 }, 7]"
    )
    assert refused(path) == [
        "20:10: no card is called 'adresses'; did you mean 'addresses'?",
        "20:22: stage 'resize' (picture to picture) is not a card; move it to a [[stage]]",
        "20:48: stage 'wave' has no option 'lenght'; did you mean 'length'?",
        "20:87: stage 'wave': length is 0, which is out of range; use a whole number of 1 or more",
        "21:28: card 'wave': longer than the picture; use less",
        "21:57: bank is 4, but the wiring has 4 banks; use 0 to 3",
        "21:85: there is no file 'no.txt'; check the path; it is relative to the recipe",
        "22:3: [[pictures.cards]] lacks the key 'use'; add use = \"bars\"",
        '22:19: entry 9 of cards is the number 7; put it in quotes: "7"',
    ]


def test_pictures_need_files_or_cards(recipe: Callable[[str], Path]) -> None:
    (message,) = refused(recipe(""))
    assert message == "19:1: [pictures] lacks the key 'files'; add files = [\"pictures/*.png\"], or cards"


def test_an_empty_list_of_cards_is_refused(recipe: Callable[[str], Path]) -> None:
    assert refused(recipe("cards = []")) == ["20:9: cards has 0 entries; give 1 or more"]


def test_a_card_alone_belongs_in_brackets(recipe: Callable[[str], Path]) -> None:
    assert refused(recipe('cards = "bars"')) == ["20:9: cards is the text 'bars'; put it in brackets: [\"bars\"]"]


def test_a_card_in_the_chain_is_sent_to_the_pictures(recipe: Callable[[str], Path]) -> None:
    (message,) = refused(recipe('cards = ["addresses"]\n[[stage]]\nuse = "wave"\n'))
    assert message == (
        "22:7: stage 'wave' (the board to a coded picture) is a test card and belongs in no chain; "
        'write cards = ["wave"] in [pictures]'
    )
