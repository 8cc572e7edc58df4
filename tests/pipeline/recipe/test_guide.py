"""The guide to writing a recipe: each of its snippets is loaded, and each message in it is a real one."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest

from ladderlight.errors import RecipeError
from ladderlight.recipe import Recipe, load
from ladderlight.recipe.language.tables import (
    BoardTable,
    CountersTable,
    LadderTable,
    MemoryTable,
    PackingTable,
    PicturesTable,
    PictureTable,
    ProjectTable,
    R2RTable,
    RecipeTable,
    StageTable,
    TimingsTable,
    ViewingTable,
)

GUIDE = (Path(__file__).parents[3] / "recipes" / "README.md").read_text(encoding="utf-8")
BLOCKS = [match.groups() for match in re.finditer(r"^```(\w+)\n(.*?)^```$", GUIDE, re.MULTILINE | re.DOTALL)]
SNIPPETS = [text for language, text in BLOCKS if language == "toml" and not text.startswith("# ")]
BASE = SNIPPETS[0]
BAD = next(before for (_, before), (language, _) in pairwise(BLOCKS) if language == "text")
ROWS = re.findall(r"^\| (?:the )?`?(top|anywhere|\[.*?\])`? \| `(.*?)` \| (.*) \|$", GUIDE, re.MULTILINE)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The files that the guide speaks of."""
    for name in ("day-1.jpg", "day-2.jpg", "day-10.jpg", "night-1.png", "night-2.png"):
        (tmp_path / "pictures").mkdir(exist_ok=True)
        (tmp_path / "pictures" / name).write_bytes(b"")
    for _, text in BLOCKS:
        if text.startswith("# "):
            path = tmp_path / text.splitlines()[0].removeprefix("# ")
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def read(text: str) -> Recipe:
    Path("recipe.toml").write_text(text, encoding="utf-8")
    return load(Path("recipe.toml"))


def complaints(text: str) -> list[str]:
    with pytest.raises(RecipeError) as caught:
        read(text)
    return str(caught.value).splitlines()


def sections(text: str) -> list[str]:
    """Cut a text before each heading."""
    return re.split(r"^(?=\[)", text, flags=re.MULTILINE)


def heading(section: str) -> str:
    return section.partition("\n")[0]


def with_sections(text: str) -> str:
    """Put a snippet's tables in the place of those of the first recipe."""
    if text.startswith("format"):
        return text
    new = {heading(section) for section in sections(text)}
    return "".join(section for section in sections(BASE) if heading(section) not in new) + "\n" + text


def with_line(table: str, line: str) -> str:
    """Put one line into a table of the first recipe, in the place of the one with that key."""
    key = line.partition("=")[0].strip()
    parts = sections(BASE)
    index = 0 if table == "top" else next(i for i, part in enumerate(parts) if heading(part) == table)
    kept = [old for old in parts[index].splitlines() if old.partition("=")[0].strip() != key]
    place = 0 if table == "top" else 1
    parts[index] = "\n".join([*kept[:place], line, *kept[place:], ""])
    return "".join(parts)


@pytest.mark.parametrize("number", range(len(SNIPPETS)))
@pytest.mark.usefixtures("folder")
def test_each_snippet_is_a_recipe_or_part_of_one(number: int) -> None:
    if SNIPPETS[number] == BAD:
        return
    recipe = read(with_sections(SNIPPETS[number]))
    assert recipe.files
    assert recipe.chain


@pytest.mark.usefixtures("folder")
def test_the_bad_recipe_gives_the_lines_that_are_shown() -> None:
    shown = next(text for language, text in BLOCKS if language == "text")
    assert complaints(BAD) == shown.splitlines()


def test_there_are_rows() -> None:
    assert len(ROWS) > 30


@pytest.mark.parametrize(("table", "line", "message"), ROWS, ids=[row[1] for row in ROWS])
@pytest.mark.usefixtures("folder")
def test_each_message_is_real(table: str, line: str, message: str) -> None:
    text = line if table == "anywhere" else with_line(table, line)
    assert message.replace("\\|", "|") in [re.sub(r"^recipe\.toml:\d+:\d+: ", "", found) for found in complaints(text)]


@pytest.mark.parametrize(
    "table",
    [
        RecipeTable,
        ProjectTable,
        BoardTable,
        TimingsTable,
        MemoryTable,
        PackingTable,
        LadderTable,
        R2RTable,
        CountersTable,
        PicturesTable,
        ViewingTable,
        StageTable,
        PictureTable,
    ],
)
def test_every_key_is_in_the_guide(table: type) -> None:
    for key in table.model_fields:
        assert re.search(rf"`\[?\[?(\w+\.)?{key}\]?\]?`|^ *{key} = |[{{,] ?{key} = ", GUIDE, re.MULTILINE), key
