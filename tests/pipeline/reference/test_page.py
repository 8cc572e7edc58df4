"""The generated stage reference: the page and pictures in the repository are those that the stages make now."""

from __future__ import annotations

import inspect
import io
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from skimage import data as photographs

from ladderlight.errors import BuildError
from ladderlight.reference.examples import PHOTOGRAPHS
from ladderlight.reference.page import FOLDER, reference, write_reference
from ladderlight.stages.registry import StageRegistry, installed_stages
from ladderlight.stages.wording import stage_table

PLUGINS = Path(__file__).parents[3] / "plugins"
AGAIN = "make it anew: python -m ladderlight.reference plugins/README.md"
MOST_BYTES = 1_600_000


@pytest.fixture(scope="module")
def made() -> tuple[str, dict[str, bytes]]:
    return reference(installed_stages())


@pytest.fixture
def page(made) -> str:
    return made[0]


@pytest.fixture
def pictures(made) -> dict[str, bytes]:
    return made[1]


def test_the_page_in_the_repository_is_up_to_date(page: str) -> None:
    assert (PLUGINS / "README.md").read_text(encoding="utf-8") == page, AGAIN


def test_every_stage_that_sees_single_pictures_has_one_and_none_is_stale(page: str, pictures: dict[str, bytes]) -> None:
    there = {path.name for path in (PLUGINS / FOLDER).iterdir()}
    assert there == set(pictures), AGAIN
    stages = [stage for stage in map(installed_stages().get, installed_stages().names) if stage.plugin == "builtin"]
    assert there >= {f"{stage.name}.png" for stage in stages if stage.kind.per_picture}
    assert all(f"({FOLDER}/{name})" in page for name in there)


def test_the_pictures_in_the_repository_are_up_to_date(pictures: dict[str, bytes]) -> None:
    """Up to what processors and libraries round differently: some pixels of a dithering, the last bit of others."""
    for name, data in pictures.items():
        now, then = (np.asarray(Image.open(source)) for source in (io.BytesIO(data), PLUGINS / FOLDER / name))
        assert now.shape == then.shape, f"{name}: {AGAIN}"
        apart = np.abs(now.astype(int) - then).max(axis=2) > 2
        assert apart.mean() < 0.1, f"{name}: {AGAIN}"


def test_the_pictures_show_something_and_are_small(pictures: dict[str, bytes]) -> None:
    assert sum(map(len, pictures.values())) < MOST_BYTES
    for name, data in pictures.items():
        pixels = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
        height, width = pixels.shape[:2]
        assert height <= 240, name
        assert width <= 648, name
        if width == 648:
            left, right = pixels[:, :320].astype(int), pixels[:, 328:].astype(int)
            assert np.abs(left - right).mean() > 5, f"{name}: both sides look the same"


def test_alternative_texts_give_what_each_picture_shows(page: str, pictures: dict[str, bytes]) -> None:
    found = dict(re.findall(rf"!\[(.*)\]\({FOLDER}/(.*)\.png\)", page))
    texts = {name: text for text, name in found.items()}
    assert {f"{name}.png" for name in texts} == set(pictures)
    for name, text in texts.items():
        assert re.fullmatch(rf"{name}: \S+ (\S+ ){{3,}}\S+", text), f"give the example of stage {name!r} its `shows`"
        assert "[" not in text


@pytest.mark.parametrize("name", PHOTOGRAPHS)
def test_the_photographs_are_free_and_credited_as_their_source_states(page: str, name: str) -> None:
    """Read from the documentation of the installed scikit-image."""
    stated = " ".join((inspect.getdoc(getattr(photographs, PHOTOGRAPHS[name])) or "").split())
    introduction = " ".join(page.partition("\n## ")[0].split())
    author = re.search(r"CC0 by the photographer \((.*?)\)", stated)
    assert author is not None
    assert re.search(rf"`{name}`, by {author[1]}[^`]*\(CC0\)", introduction)


def test_one_picture_stages_show_a_photograph(pictures: dict[str, bytes]) -> None:
    """A photograph has thousands of colours, a drawn scene of this size hundreds."""
    for name in ("crop", "resize", "tone", "sharpen", "adapt_contrast", "diffuse", "ordered", "search", "nearest"):
        pixels = np.asarray(Image.open(io.BytesIO(pictures[f"{name}.png"])).convert("RGB"))[:, :320]
        assert len(np.unique(pixels.reshape(-1, 3), axis=0)) > 1500, name


def test_every_stage_option_and_example_is_on_the_page(page: str) -> None:
    for name in installed_stages().names:
        stage = installed_stages().get(name)
        section = page.partition(f"### `{name}`\n")[2].partition("\n### ")[0]
        assert stage.help in section
        assert f"{stage_table(stage)}\n```" in section
        for option in stage.options:
            assert f"| `{option.name}` |" in section


def test_text_files_show_their_first_lines(page: str) -> None:
    """The end of the page's Intel HEX lines is checked by the format's own rule: all bytes of a record sum to zero."""
    section = page.partition("### `intel_hex`\n")[2].partition("\n### ")[0]
    lines = section.partition("```text\n")[2].partition("\n```")[0].splitlines()
    assert len(lines) == 4
    for line in lines:
        assert sum(bytes.fromhex(line.removeprefix(":"))) % 256 == 0


def test_stale_pictures_are_removed(tmp_path: Path) -> None:
    (tmp_path / FOLDER).mkdir()
    (tmp_path / FOLDER / "gone.png").write_bytes(b"old")
    write_reference(tmp_path / "README.md", StageRegistry(_stages={}))
    assert list((tmp_path / FOLDER).iterdir()) == []
    assert (tmp_path / "README.md").read_text(encoding="utf-8").startswith("# The stages")


def test_another_file_is_not_taken_for_the_page(tmp_path: Path) -> None:
    path = tmp_path / "recipe.toml"
    path.write_text("format = 1\n")
    (tmp_path / FOLDER).mkdir()
    (tmp_path / FOLDER / "day.png").write_bytes(b"mine")
    with pytest.raises(BuildError, match=r"recipe\.toml: is not a reference page; choose another path"):
        write_reference(path, StageRegistry(_stages={}))
    assert path.read_text() == "format = 1\n"
    assert (tmp_path / FOLDER / "day.png").read_bytes() == b"mine"


def test_another_kernel_would_be_noticed(pictures: dict[str, bytes]) -> None:
    """What the comparison above lets pass is less than another way of dithering changes."""
    stucki, curve = (np.asarray(Image.open(io.BytesIO(pictures[f"{name}.png"]))) for name in ("diffuse", "riemersma"))
    apart = np.abs(stucki.astype(int) - curve).max(axis=2) > 2
    assert apart.mean() > 0.1
