"""Faults named from simulated photographs. The camera, in ``tests/benchmarks/camera.py``, shares nothing with them."""

from __future__ import annotations

import importlib.util
import io
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from ladderlight.bench.faults.listing import faults_of
from ladderlight.bench.faults.screens import looks_of
from ladderlight.bench.photograph.ranking import ranked
from ladderlight.bench.photograph.raster import find_raster, read_photograph
from ladderlight.board import Placement
from ladderlight.errors import PictureError
from ladderlight.proof.scanout import render
from ladderlight_stages.cards.addresses import addresses

CAMERA = Path(__file__).parents[3] / "benchmarks" / "camera.py"
SIZE = (800, 600)


@pytest.fixture(scope="module")
def camera():
    spec = importlib.util.spec_from_file_location("camera", CAMERA)
    module = importlib.util.module_from_spec(spec)
    sys.modules["camera"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def board(make_board, memory):
    """80x60 pixels in 64 colours, two address bits less than the usual board: hundreds of looks are fitted."""
    colours = ["b0-b1", "g0-g1", "r0-r1"]
    return make_board(memory(address=["x3-x9", "y3-y8", "bank0-bank1"], data=colours, part="27C256"))


@pytest.fixture
def words(board):
    """The addresses card in bank 0."""
    placement = Placement(board=board)
    placement.put_codes(addresses(board).codes, bank=0, picture="addresses")
    return {name: held for name, (held, _) in placement.words().items()}


def opened(jpeg: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(jpeg)), dtype=np.float32) / 255


def test_faults_on_the_addresses_card_are_named(board, words, camera) -> None:
    """One data line stuck low and high, the finest address lines exchanged, a counter bit missing, and no fault."""
    faults = {fault.text: fault for fault in faults_of(board)}
    looks = looks_of(board, words, 0, list(faults.values()))
    named = [
        "data line D3 (g1) stuck low",
        "data line D3 (g1) stuck high",
        "address lines A0 (x3) and A1 (x4) exchanged",
    ]
    for seed, text in enumerate([*named, "counter bit y4 missing, and read as high", None]):
        fault = faults.get(text)
        faulty = fault.change(board, words) if fault else (board, words)
        shot = camera.photographed(render(*faulty, 0), np.random.default_rng(seed), SIZE)
        found = ranked(opened(shot.jpeg), looks)
        assert found.fits
        assert np.abs(found.corners + 0.5 - shot.corners).max() < 1.5  # pixels of the photograph
        best = found.candidates[0]
        assert best.sound == (fault is None)
        own = next((look.faults for look in looks if fault in look.faults), ())
        assert best.faults[: len(own)] == own
        assert best.confidence > 0.3


def test_a_resistor_missing_and_its_line_stuck_low_are_one_answer(board, words, camera) -> None:
    """One photograph with a cast of 15 % in red fits both; that with the better white balance comes first."""
    low, missing, high = "data line D5 (r1) stuck low", "resistor r1 (red, 715) missing", "data line D5 (r1) stuck high"
    looks = looks_of(board, words, 0, [fault for fault in faults_of(board) if fault.text in {low, missing, high}])
    light = next(look.light for look in looks if missing in [fault.text for fault in look.faults])
    values = camera.encoded(np.kron(light / light.max() * 0.9, np.ones((9, 9, 1)))).astype(np.float32)
    photograph = np.pad(values, ((60, 60), (60, 60), (0, 0)))
    corners = np.array([[60, 60], [780, 60], [780, 600], [60, 600]]) - 0.5
    best, *others = ranked(photograph, looks, corners).candidates
    assert [fault.text for fault in best.faults] == [missing, low]
    assert best.confidence > 0.99
    assert high in [fault.text for candidate in others for fault in candidate.faults]


def test_an_even_white_screen_is_named(board, words, camera) -> None:
    """An empty bank of FFh. No edge inside says where the corners are, and nothing varies that could be explained."""
    faults = faults_of(board)
    fault = next(fault for fault in faults if fault.text == "line bank0 missing, and read as high")
    shot = camera.photographed(render(*fault.change(board, words), 0), np.random.default_rng(1), SIZE)
    found = ranked(opened(shot.jpeg), looks_of(board, words, 0, [fault, *faults[::25]]))
    assert found.fits
    assert fault in found.candidates[0].faults
    assert np.abs(found.corners + 0.5 - shot.corners).max() < 6  # pixels; not aligned, as there is nothing to align


def test_a_photograph_of_something_else_fits_nothing(board, words, camera) -> None:
    looks = looks_of(board, words, 0, faults_of(board)[::20])
    other = (
        np.random.default_rng(5).integers(0, 256, (24, 32, 3)).astype(np.uint8).repeat(20, axis=0).repeat(20, axis=1)
    )
    found = ranked(opened(camera.photographed(other, np.random.default_rng(1), SIZE).jpeg), looks)
    assert not found.fits


def test_a_dark_photograph_has_no_raster() -> None:
    random = np.random.default_rng(2)
    assert find_raster((0.02 + 0.004 * random.random((300, 400, 3))).astype(np.float32)) is None


def test_photographs_are_turned_as_exif_says_and_others_refused(tmp_path) -> None:
    """Orientation 6 of the Exif standard (JEITA CP-3451, 4.6.4): the top of the scene is on the right of the file."""
    pixels = np.zeros((40, 60, 3), dtype=np.uint8)
    pixels[:, 50:] = 255
    exif = Image.Exif()
    exif[0x0112] = 6
    Image.fromarray(pixels).save(tmp_path / "turned.png", exif=exif)
    read, scale = read_photograph(tmp_path / "turned.png")
    assert read.shape == (60, 40, 3)
    assert scale == 1
    assert read[:10].max() == 0
    assert read[50:].min() == 1  # the file's right is the scene's bottom
    (tmp_path / "note.jpg").write_text("no photograph")
    with pytest.raises(PictureError, match=r"note\.jpg: is not a JPEG or PNG photograph; save it as one"):
        read_photograph(tmp_path / "note.jpg")
