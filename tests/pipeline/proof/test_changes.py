"""What a build changes against the one before, and against the chips."""

from __future__ import annotations

import base64
import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from ladderlight import CodedPicture, Origin
from ladderlight.devices.files import images_of
from ladderlight.proof.changes import MOST_SHOWN, EarlierBuild, changes_document, device_changes
from ladderlight.proof.page.document import other_changes
from ladderlight.proof.scanout import Scanned, memories_of
from ladderlight.proof.screens import Screen
from ladderlight.workspace.description import describe
from ladderlight_stages.arrangements.lookup import lookup
from ladderlight_stages.emissions.binary import binary


class Built:
    """A build in memory: its manifest, screens by bank, and each device's bytes."""

    folder: Path
    """Where it has its screens, when it is the earlier one."""

    def __init__(self, board, contents) -> None:
        files = binary(contents, board)
        banks = [placed.bank for placed in contents.pictures]
        scanned = Scanned(board=board, words=memories_of(board, files), banks=banks)
        self.board, self.images = board, scanned.images
        self.manifest = describe(project="p", board=board, contents=contents, files=files, images=scanned.images)
        self.screens = {bank: Screen(scanned=scanned, bank=bank) for bank in banks}
        self.files = {bank: screen.png for bank, screen in self.screens.items()}
        self.arrays = {name: np.frombuffer(image, dtype=np.uint8) for name, image in self.images.items()}

    def after(self, before: Built | None, *, document=None, names=None) -> dict:
        return changes_document(
            self.board, self.images, self.manifest, self.screens, before and before.earlier(document, names or {})
        )

    def earlier(self, document, names) -> EarlierBuild:
        pictures = {names.get(p["name"], p["name"]): p["bank"] for p in self.manifest["pictures"]}
        for bank, png in self.files.items():
            if png is not None:
                (self.folder / f"{bank}.png").write_bytes(png)
        return EarlierBuild(
            devices={device["name"]: device["sha256"] for device in self.manifest["devices"]},
            pictures=pictures,
            document=document,
            images=lambda: self.arrays,
            screens={name: self.folder / f"{bank}.png" for name, bank in pictures.items()},
        )


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Built, "folder", tmp_path, raising=False)


def decoded(text: str) -> np.ndarray:
    with Image.open(io.BytesIO(base64.b64decode(text))) as image:
        return np.asarray(image.convert("RGB"))


def with_word(contents, memory, address, word):
    """The contents with one word another."""
    contents.memories[memory].words[address] = word
    return contents


def test_a_first_build_has_nothing_before_it(board, banked) -> None:
    document = Built(board, banked(board, (0, 1))).after(None)
    assert document == {"format": 1, "before": False, "devices": [], "pictures": []}


def test_a_pixel_of_one_picture_is_found_in_its_bank_and_shown_before_and_after(board, banked) -> None:
    """Bank 1 of this board begins at 8000h; pixel (3, 5) of it is read at 8000h + 5 x 100h + 3."""
    old = Built(board, banked(board, (0, 1, 2)))
    place = 0x8000 + 5 * 256 + 3
    was = int(np.frombuffer(old.images["picture"], np.uint8)[place])
    new = Built(board, with_word(banked(board, (0, 1, 2)), "picture", place, was ^ 1))
    document = new.after(old)
    assert document["before"] is True
    assert document["devices"] == [
        {
            "device": "picture",
            "differing": 1,
            "banks": [{"bank": 1, "pictures": ["picture-1"], "differing": 1}],
            "runs": [(place, place)],
        }
    ]
    (changed,) = document["pictures"]
    assert (changed["name"], changed["bank"], changed["was"], changed["state"]) == ("picture-1", 1, 1, "changed")
    assert changed["share"] == pytest.approx(1 / (160 * 120))
    before, after = decoded(changed["before"]), decoded(changed["after"])
    assert before.shape == (120, 160, 3), "each pixel of the board once"
    assert np.argwhere((before != after).any(axis=2)).tolist() == [[5, 3]]
    for png, shown in ((old.files[1], before), (new.files[1], after)):
        with Image.open(io.BytesIO(png)) as screen:
            np.testing.assert_array_equal(np.asarray(screen.convert("RGB"))[::4, ::4], shown)


def test_building_the_same_again_says_what_was_said(board, banked) -> None:
    first, other = Built(board, banked(board, (0, 1))), Built(board, banked(board, (0, 1), seed=2))
    document = other.after(first)
    assert {picture["state"] for picture in document["pictures"]} == {"changed"}
    kept = {key: document[key] for key in ("before", "devices", "pictures")}
    assert Built(board, banked(board, (0, 1), seed=2)).after(other, document=kept) == document
    assert first.after(first)["before"] is False
    assert first.after(other, document=kept) != document


def test_pictures_that_come_go_and_move(board, banked) -> None:
    old = Built(board, banked(board, (0, 2)))
    new = Built(board, banked(board, (0, 2)))
    document = new.after(old, names={"picture-0": "light", "picture-2": "picture-0"})
    assert [(p["name"], p["bank"], p["was"], p["state"]) for p in document["pictures"]] == [
        ("picture-0", 0, 2, "changed"),
        ("picture-2", 2, None, "new"),
        ("light", None, 0, "gone"),
    ]
    document = old.after(old, names={"picture-0": "light", "picture-2": "mole"})
    assert document["devices"][0]["differing"] == 0
    assert [(p["name"], p["state"], p["earlier"], p["was"], p["bank"]) for p in document["pictures"]] == [
        ("picture-0", "renamed", "light", 0, 0),
        ("picture-2", "renamed", "mole", 2, 2),
    ]
    assert list(other_changes(document["pictures"])) == [
        ("As before, under another name", "light, now picture-0 (bank 0) and mole, now picture-2 (bank 2)")
    ]
    moved = Built(board, banked(board, (1,)))
    document = moved.after(Built(board, banked(board, (0,))), names={"picture-0": "picture-1"})
    assert [(p["state"], p["was"], p["bank"]) for p in document["pictures"]] == [("moved", 0, 1)]


def test_pictures_stand_in_the_order_of_their_banks(board, banked) -> None:
    new, old = Built(board, banked(board, (2, 0, 1))), Built(board, banked(board, (2, 0, 1), seed=2))
    assert [picture["bank"] for picture in new.after(old)["pictures"]] == [0, 1, 2]


def test_a_changed_resistor_changes_screens_but_no_chip(make_board, ladder, memory, banked) -> None:
    def board(ohm: float):
        colours = ladder(red={"r0": ohm, "r1": 715}, green={"g0": 1330, "g1": 715}, blue={"b0": 1330, "b1": 715})
        return make_board(memory(address=["x2-x9", "y2-y8", "bank0"], data=["b0-b1", "g0-g1", "r0-r1"]), ladder=colours)

    old, new = (Built(board(ohm), banked(board(ohm), (0,))) for ohm in (1330, 1500))
    assert old.images == new.images
    document = new.after(old)
    assert document["devices"][0]["differing"] == 0
    assert [picture["state"] for picture in document["pictures"]] == ["changed"]


def test_a_screen_that_is_lost_is_not_guessed(board, banked) -> None:
    old, new = Built(board, banked(board, (0, 1))), Built(board, banked(board, (0, 1), seed=2))
    old.files[0], old.files[1] = None, b"\x89PNG cut short"
    assert [picture["state"] for picture in new.after(old)["pictures"]] == ["unknown", "unknown"]
    assert not any("before" in picture for picture in new.after(old)["pictures"])


def test_no_more_screens_than_stated_are_in_the_page(make_board, memory, banked) -> None:
    board = make_board(memory(address=["x5-x9", "y5-y8", "bank0-bank3"], data=["b0-b1", "g0-g1", "r0-r1"]))
    banks = tuple(range(16))
    document = Built(board, banked(board, banks, seed=2)).after(Built(board, banked(board, banks)))
    assert len(document["pictures"]) == 16
    assert [("before" in picture) for picture in document["pictures"]] == [True] * MOST_SHOWN + [False] * 10


def test_banks_that_lie_between_each_other_are_told_apart(make_board, memory, banked) -> None:
    """With the bank line on A0, bank 1 has the odd words."""
    board = make_board(memory(address=["bank0", "x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"]))
    old, new = (Built(board, banked(board, (0, 1))) for _ in range(2))
    images = {"picture": old.arrays["picture"].copy()}
    images["picture"][[1, 3, 6]] ^= 0x3F
    (device,) = device_changes(board, new.images, new.manifest, images)
    assert [(bank["bank"], bank["differing"]) for bank in device["banks"]] == [(0, 1), (1, 2)]
    assert device["runs"] == [(1, 6)]


def test_words_that_no_picture_reads_and_chips_that_are_not_known(board, banked) -> None:
    built = Built(board, banked(board, (0,)))
    padding = built.arrays["picture"].copy()
    padding[200] ^= 1  # column 200 of a line of 160
    (device,) = device_changes(board, built.images, built.manifest, {"picture": padding})
    assert (device["differing"], device["banks"], device["runs"]) == (1, [], [(200, 200)])
    (device,) = device_changes(board, built.images, built.manifest, {})
    assert (device["differing"], device["banks"]) == (None, [])


def test_a_memory_that_another_addresses_changes_without_banks(make_board, memory) -> None:
    board = make_board(
        memory("picture", address=["x2-x9", "y2-y8", "bank0"], data=["-"], part="27C512"),
        memory("colours", address=["picture.d0-picture.d1"], data=["b0-b1", "g0-g1", "r0-r1"], part="28C16"),
    )
    codes = np.zeros((board.geometry.height, board.geometry.width), dtype=np.uint16)
    codes[5, 7] = 63
    built = Built(board, lookup([CodedPicture(codes=codes, origin=Origin(name="cup", source="cup.png"))], board))
    before = {name: image.copy() for name, image in built.arrays.items()}
    before["colours"][1] ^= 0b100  # of the second colour
    before["picture"][4 * 256] ^= 1  # a pixel of the fifth line
    picture, colours = device_changes(board, built.images, built.manifest, before)
    assert [(bank["bank"], bank["differing"]) for bank in picture["banks"]] == [(0, 1)]
    assert (colours["differing"], colours["banks"], colours["runs"]) == (1, [], [(1, 1)])


def test_images_of_several_bytes_a_word(make_board, memory, banked) -> None:
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C1024"))
    built = Built(board, banked(board, (0,)))
    assert board.memory("picture").part.width == 16
    other = built.arrays["picture"].copy()
    other[[2 * 7, 2 * 7 + 1, 2 * 9]] ^= 0xFF
    (device,) = device_changes(board, built.images, built.manifest, {"picture": other})
    assert device["banks"] == [{"bank": 0, "pictures": ["picture-0"], "differing": 3}]
    assert images_of(board, {"picture": np.zeros(65536, np.uint32)})["picture"] == bytes(131072)
