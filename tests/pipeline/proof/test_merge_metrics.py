"""What an arrangement that merges colours makes of the figures, the burn sheet and the report of a build."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ladderlight import CodedPicture, Origin
from ladderlight.commands import main
from ladderlight.devices.files import words_of
from ladderlight.proof.merge_metrics import merged_metrics
from ladderlight.proof.scanout import Scanned
from ladderlight_stages.arrangements.bank_pictures import bank_pictures
from ladderlight_stages.arrangements.lookup import lookup

RECIPE = """
format = 1

[board]
mode = "640x480@60"
clock = "25.175 MHz"
blanking = "gate"

[[board.memory]]
name = "picture"
part = "27C512"
address = ["x3-x9", "y3-y8", "bank0"]
data = ["-"]

[[board.memory]]
name = "colours"
part = "28C16"
address = ["picture.d0-picture.d3"]
data = ["b0-b1", "g0-g1", "r0-r1"]

[board.ladder]
supply = "5 V"
red = { r0 = "1.33 kohm", r1 = "715 ohm" }
green = { g0 = "1.33 kohm", g1 = "715 ohm" }
blue = { b0 = "1.33 kohm", b1 = "715 ohm" }

[pictures]
files = ["many.ppm", "plain.ppm"]

[[stage]]
use = "resize"

[[stage]]
use = "nearest"

[[stage]]
use = "lookup"

[[stage]]
use = "binary"
"""


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A picture in far more colours than the look-up memory holds, and a black one."""
    noise = np.random.default_rng(1).integers(0, 256, (60, 80, 3), dtype=np.uint8)
    for name, pixels in (("many", noise), ("plain", noise * 0)):
        (tmp_path / f"{name}.ppm").write_bytes(b"P6 80 60 255\n" + pixels.tobytes())
    path = tmp_path / "recipe.toml"
    path.write_text(RECIPE, encoding="utf-8")
    return path


def test_a_picture_whose_colours_were_merged_is_measured_as_it_is_burned(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["build", str(project)]) == 0
    out = capsys.readouterr().out
    output = project.parent / "out"
    document = json.loads((output / "manifest.json").read_text())
    many, plain = (picture["metrics"] for picture in document["pictures"])
    picture = words_of((output / "devices" / "picture.bin").read_bytes(), 8)
    colours = words_of((output / "devices" / "colours.bin").read_bytes(), 8) & 63
    down, across = np.indices((60, 80))
    shown = colours[picture[down << 7 | across] & 15]
    assert many["colours_used"] == len(np.unique(shown)) <= 16
    # Noise has all 64 colours, each about as often; 16 of them at most are kept.
    assert many["merged_share"] > 0.5
    assert "merged_share" not in plain
    assert plain["colours_used"] == 1

    (note,) = [note for note in document["notes"] if "differ from the pictures" in note]
    share = float(note.split(" %")[0].split()[-1])
    assert share == pytest.approx(100 * many["merged_share"] / 2, abs=0.01)  # of both pictures
    assert f"note: {note}" in out.splitlines()
    sheet = " ".join((output / "burn-sheet.txt").read_text().split())
    assert f"Notes ----- - {document['notes'][0]}" in sheet
    assert note in sheet
    page = (output / "burn-sheet.html").read_text()
    assert '<h2 id="notes">Notes</h2>' in page
    assert f"{100 * many['merged_share']:.1f} % merged" in (output / "proof" / "index.html").read_text()


def test_nothing_is_compared_where_counters_address_everything(board) -> None:
    codes = np.random.default_rng(1).integers(0, 64, (120, 160), dtype=np.uint16)
    coded = CodedPicture(origin=Origin(name="quay", source="quay.png"), codes=codes)
    contents = bank_pictures([coded], board)
    words = {name: memory.words for name, memory in contents.memories.items()}
    assert merged_metrics(Scanned(board=board, words=words, banks=[]), contents.pictures, [coded]) == {}


def test_only_pictures_that_are_shown_otherwise_have_figures(make_board, memory) -> None:
    board = make_board(
        memory("picture", address=["x2-x9", "y2-y8", "bank0"], data=["-"], part="27C512"),
        memory("colours", address=["picture.d0-picture.d3"], data=["b0-b1", "g0-g1", "r0-r1"], part="28C16"),
    )
    rng = np.random.default_rng(2)
    coded = [
        CodedPicture(origin=Origin(name=name, source=name), codes=rng.integers(0, 8, (120, 160), dtype=np.uint16))
        for name in ("first", "second")
    ]
    contents = lookup(coded, board)
    words = {name: memory.words for name, memory in contents.memories.items()}
    scanned = Scanned(board=board, words=words, banks=[0, 1])
    assert merged_metrics(scanned, contents.pictures, coded) == {}
    wished = coded[1].codes.copy()
    wished[0, :3] = 63
    others = [coded[0], replace(coded[1], codes=wished)]
    assert merged_metrics(scanned, contents.pictures, others) == {
        ("second", 1): {"merged_share": round(3 / 19200, 6), "colours_used": 8}
    }
    small = replace(coded[0], codes=coded[0].codes[:5])
    assert merged_metrics(scanned, contents.pictures, [small]) == {}
