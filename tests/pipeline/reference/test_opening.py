"""The picture that opens README.md: that of today's program, small, and readable on any ground."""

from __future__ import annotations

import io
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from ladderlight.recipe import load
from ladderlight.reference.opening import GROUND, GUN_INKS, INK, opening_png

ROOT = Path(__file__).parents[3]
PICTURE = ROOT / "recipes" / "pictures" / "opening.png"
LOBBY = ROOT / "recipes" / "lobby" / "recipe.toml"
AGAIN = "make it anew: python -m ladderlight.reference recipes/pictures/opening.png recipes/lobby/recipe.toml"
MOST_BYTES = 150_000
PHOTOGRAPH, BOARD, LADDER = (slice(16, 336), slice(352, 672), slice(688, 904))


@pytest.fixture(scope="module")
def made() -> np.ndarray:
    with Image.open(io.BytesIO(opening_png(LOBBY))) as picture:
        return np.asarray(picture.convert("RGB"), int)


def kept() -> np.ndarray:
    with Image.open(PICTURE) as picture:
        return np.asarray(picture.convert("RGB"), int)


def light(colour: tuple[int, ...]) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (value / 255 for value in colour)]
    return float(np.dot(parts, (0.2126, 0.7152, 0.0722)))


def test_it_is_up_to_date(made: np.ndarray) -> None:
    """Up to some dots that other processors and libraries set differently."""
    assert made.shape == kept().shape, AGAIN
    apart = np.abs(made - kept()).max(axis=2) > 4
    for panel in (PHOTOGRAPH, BOARD, LADDER):
        assert apart[:, panel].mean() < 0.04, AGAIN


def test_another_ladder_would_be_noticed(made: np.ndarray, tmp_path: Path) -> None:
    """The board of a changed recipe shows other colours, and other values stand at its resistors."""
    (tmp_path / "pictures").mkdir()
    text = LOBBY.read_text(encoding="utf-8").replace('r2 = "750"', 'r2 = "430"')
    (tmp_path / "recipe.toml").write_text(text, encoding="utf-8")
    for picture in (LOBBY.parent / "pictures").iterdir():
        (tmp_path / "pictures" / picture.name).write_bytes(picture.read_bytes())
    with Image.open(io.BytesIO(opening_png(tmp_path / "recipe.toml"))) as picture:
        other = np.asarray(picture.convert("RGB"), int)
    apart = np.abs(made - other).max(axis=2) > 4
    assert apart[:, BOARD].mean() > 0.2
    assert apart[:, LADDER].any()
    assert not apart[:, PHOTOGRAPH][:260].any()


def test_the_middle_is_in_the_colours_of_the_board_in_its_pixels() -> None:
    shown = kept()[16:256, BOARD]
    palette = {tuple(colour) for colour in load(LOBBY, pictures="ignored").board.palette.srgb8.tolist()}
    assert {tuple(colour) for colour in shown.reshape(-1, 3).tolist()} <= palette
    assert (shown[::2, ::2] == shown[1::2, 1::2]).all()
    assert len(np.unique(kept()[16:256, PHOTOGRAPH].reshape(-1, 3), axis=0)) > 2000


def test_it_is_small_and_opens_the_page() -> None:
    assert PICTURE.stat().st_size < MOST_BYTES
    opening = (ROOT / "README.md").read_text(encoding="utf-8").split("\n\n")[1]
    assert opening.startswith("![A cup of coffee")
    assert opening.endswith("](recipes/pictures/opening.png)")


def test_it_is_readable_on_a_light_page_and_on_a_dark_one() -> None:
    """It brings its own ground, opaque to the edge; letters and wires reach 4.5 on it (WCAG 2.2, 1.4.3)."""
    with Image.open(PICTURE) as picture:
        assert picture.mode == "RGB"
    edges = np.concatenate([kept()[0], kept()[-1], kept()[:, 0], kept()[:, -1]])
    assert (edges == GROUND).all()
    for ink in (INK, *GUN_INKS):
        assert (light(ink) + 0.05) / (light(GROUND) + 0.05) > 4.5
    for panel in (PHOTOGRAPH, BOARD, LADDER):
        assert (kept()[256:, panel] == INK).all(axis=2).any(), "the panel has no title"


def test_the_wires_of_the_guns_are_told_apart() -> None:
    ladder = kept()[:, LADDER].reshape(-1, 3)
    rows = [np.flatnonzero((kept()[:, LADDER] == ink).all(axis=(2)).any(axis=1)) for ink in GUN_INKS]
    assert all((ladder == ink).all(axis=1).sum() > 100 for ink in GUN_INKS)
    assert all(above.max() < below.min() for above, below in pairwise(rows))
