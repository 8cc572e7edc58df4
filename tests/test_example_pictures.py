"""Whose the pictures of the example recipes are, and that the drawn ones are what their ``draw.py`` draws."""

from __future__ import annotations

import inspect
import runpy
import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageSequence
from skimage import data

from ladderlight.starter import open_scene
from ladderlight_stages.lettering import CELL, glyphs

HERE = Path(__file__).parent
FOLDERS = sorted([*HERE.parent.glob("recipes/*/"), *HERE.glob("recipes/*/")])
SUFFIXES = {".bmp", ".gif", ".jpeg", ".jpg", ".png", ".tif", ".tiff", ".webp"}
PICTURES = sorted(
    path
    for folder in FOLDERS
    for path in folder.rglob("*")
    if path.suffix.lower() in SUFFIXES and "out" not in path.relative_to(folder).parts
)
SHEETS = sorted({path.parent / "LICENCES.md" for path in PICTURES if (path.parent / "LICENCES.md").exists()})
DRAWN = sorted(path for folder in FOLDERS for path in folder.glob("draw.py"))
COLUMNS = ["file", "origin", "author", "licence", "credit line", "what was done"]

CLAIMS = {
    "coffee": ("Pikolo Espresso Bar", "CC0 by the photographer (Rachel Michetti)"),
    "chelsea": ("CC0 by the photographer (Stefan van der Walt)",),
    "hubble_deep_field": ("captured by NASA", "public domain", "hubblesite.org/newscenter/archive/releases/2012/37"),
}
"""What the documentation of scikit-image says of each photograph that is used here."""


def rows(sheet: Path) -> list[dict[str, str]]:
    """Return the table of a list of licences, one dict a file."""
    lines = [line for line in sheet.read_text(encoding="utf-8").splitlines() if line.startswith("|")]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]
    assert cells[0] == COLUMNS, sheet
    return [dict(zip(COLUMNS, row, strict=True)) for row in cells[2:]]


def short(path: Path) -> str:
    return path.relative_to(HERE.parent).as_posix()


def uses_photographs(script: Path) -> bool:
    return "skimage" in script.read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Path], Path]:
    """Run a copy of a ``draw.py`` in an otherwise empty folder, once; return the folder of its pictures."""

    @cache
    def drawn(script: Path) -> Path:
        folder = tmp_path_factory.mktemp(script.parent.name)
        (folder / "pictures").mkdir()
        runpy.run_path(str(shutil.copy(script, folder)), run_name="__main__")
        return folder / "pictures"

    return drawn


def frames(path: Path) -> np.ndarray:
    """Return the colours of every frame, shape (frames, height, width, 3)."""
    with Image.open(path) as picture:
        return np.stack([np.asarray(frame.convert("RGB"), float) for frame in ImageSequence.all_frames(picture)])


def test_there_are_pictures_licences_and_drawings_to_check() -> None:
    assert len(PICTURES) >= 17
    assert [short(sheet) for sheet in SHEETS] == [
        "recipes/lobby/pictures/LICENCES.md",
        "recipes/pictures/LICENCES.md",
        "recipes/sea-window/pictures/LICENCES.md",
        "recipes/survey-desk/pictures/LICENCES.md",
        "tests/recipes/lantern/pictures/LICENCES.md",
    ]
    assert sum(uses_photographs(script) for script in DRAWN) == 2


@pytest.mark.parametrize("picture", PICTURES, ids=short)
def test_every_picture_is_drawn_here_or_has_its_licence_beside_it(picture: Path, made: Callable[[Path], Path]) -> None:
    sheet = picture.parent / "LICENCES.md"
    if sheet.exists():
        assert f"`{picture.name}`" in {row["file"] for row in rows(sheet)}
        return
    script = picture.parent.parent / "draw.py"
    assert script.exists(), "name the picture in LICENCES.md beside it, with origin, author, licence and credit line"
    assert not uses_photographs(script), "a photograph needs its licence: name it in LICENCES.md beside it"
    assert (made(script) / picture.name).exists(), "draw.py does not make this picture"


@pytest.mark.parametrize("sheet", SHEETS, ids=short)
def test_a_list_of_licences_is_complete_and_names_no_other_files(sheet: Path) -> None:
    listed = rows(sheet)
    there = {f"`{path.name}`" for path in sheet.parent.iterdir() if path.name != "LICENCES.md"}
    assert sorted(row["file"] for row in listed) == sorted(there)
    for row in listed:
        assert all(row.values()), row
        if row["licence"] != "MIT, as the project":
            assert row["credit line"].startswith("Photograph: "), row
            assert row["author"].partition(",")[0] in row["credit line"]


@pytest.mark.parametrize("row", [row for sheet in SHEETS for row in rows(sheet)], ids=lambda row: row["file"])
def test_licences_and_authors_are_those_that_the_origin_states(row: dict[str, str]) -> None:
    """Read from the documentation of the installed scikit-image, function by function."""
    if "scikit-image" not in row["origin"]:
        assert (row["licence"], row["author"]) == ("MIT, as the project", "the Ladderlight authors")
        return
    name = row["origin"].partition("`skimage.data.")[2].partition("`")[0]
    stated = " ".join((inspect.getdoc(getattr(data, name)) or "").split())
    assert all(claim in stated for claim in CLAIMS[name])
    assert row["licence"].partition(" 1.0")[0] in stated
    author, _, courtesy = row["author"].partition(", courtesy of ")
    assert author in stated
    assert courtesy in stated


@pytest.mark.parametrize(
    ("file", "photograph"),
    [("cafe.jpg", "coffee"), ("quay-cat.jpg", "chelsea"), ("night-sky.jpg", "hubble_deep_field")],
)
def test_the_lobbys_photographs_are_those_named(file: str, photograph: str) -> None:
    """Saved as JPEG, they differ from the originals by a few of 255; another photograph would by tens."""
    saved = np.asarray(Image.open(HERE.parent / "recipes" / "lobby" / "pictures" / file).convert("RGB"), dtype=float)
    assert np.abs(saved - getattr(data, photograph)()).mean() < 6


def test_the_lobbys_lighthouse_is_that_of_a_first_project() -> None:
    saved = np.asarray(Image.open(HERE.parent / "recipes" / "lobby" / "pictures" / "lighthouse.png"), dtype=float)
    assert np.abs(saved - np.asarray(open_scene("lighthouse"), dtype=float)).mean() < 1


@pytest.mark.parametrize("script", DRAWN, ids=short)
def test_the_drawn_pictures_are_those_in_the_repository(script: Path, made: Callable[[Path], Path]) -> None:
    """Up to what other versions of the drawing and compressing libraries round differently."""
    now = made(script)
    then = script.parent / "pictures"
    names = sorted(path.name for path in now.iterdir())
    assert names == sorted(path.name for path in then.iterdir() if path.name != "LICENCES.md")
    for name in names:
        drawn, kept = frames(now / name), frames(then / name)
        assert drawn.shape == kept.shape
        assert np.abs(drawn - kept).mean(axis=(1, 2, 3)).max() < 2, name


def test_the_ferrys_characters_are_those_of_the_project() -> None:
    """Cut into cells of 8x8 along the rows, dot for dot; the last cell is empty."""
    sheet = np.asarray(Image.open(HERE.parent / "recipes" / "ferry-times" / "pictures" / "characters.png").convert("L"))
    assert sheet.shape == (6 * CELL, 16 * CELL)
    cells = [sheet[y : y + CELL, x : x + CELL] > 127 for y in range(0, 48, CELL) for x in range(0, 128, CELL)]
    assert len(cells) == 96
    for cell, glyph in zip(cells, glyphs().values(), strict=False):
        assert np.array_equal(cell, glyph)
    assert not cells[95].any()
