"""Stages that look at all pictures before they are given the first."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from ladderlight import CodedPicture, Contents, Picture, Survey, stage
from ladderlight.engine.runner import Chain
from ladderlight.errors import PictureError, PluginError, StageFailure
from ladderlight.recipe import load
from ladderlight.stages.declaration import declaration_of

from ..boards import COLOURS

RECIPE = f"""
format = 1
plugins = ["probes.py"]
{COLOURS}
[pictures]
files = [FILES]
"""

PLUGIN = """
import threading
from dataclasses import replace
from pathlib import Path
from typing import Annotated
from dataclasses import replace
import numpy as np
from ladderlight import CodedPicture, Option, Origin, Picture, PictureError, Survey, stage


opened = []
looked = []

def give(path):
    opened.append(path.name)
    if path.stem.startswith("bad"):
        raise PictureError("is bad")
    # number and frames stand in the name: p3x2.png is 3 and 503 steps of light in two frames
    number, _, frames = path.stem[1:].partition("x")
    pixels = np.full((15, 20, 3), float(number) / 4000, dtype=np.float32)
    return [Picture(origin=Origin(name="?", source="?"), pixels=pixels + 0.125 * i) for i in range(int(frames or 1))]

@stage(help="Gives light by the file's name.")
def numbered(path: Path) -> list[Picture]:
    return give(path)

def steps(picture):
    return round(4000 * float(picture.pixels[0, 0, 0]))

def look(board, options):
    if options.get("alone"):
        return None
    def at(picture):
        looked.append(picture.origin.name)
        if options.get("clumsy"):
            raise ZeroDivisionError("by zero")
        return [steps(picture)]
    return at

@stage(help="Adds the lights of all pictures to each.", survey=look)
def gather(picture: Picture, survey: Survey, *, alone: bool = False, clumsy: bool = False) -> Picture:
    return picture.with_pixels(picture.pixels + np.float32(sum(survey.total or []) / 4000))

@stage(help="Codes whether the order of what was seen is this one.", survey=look)
def in_order(picture: Picture, survey: Survey, *, wanted: list[int]) -> CodedPicture:
    return picture.coded(np.full((15, 20), survey.total == wanted, dtype=np.uint16))

@stage(help="Sees what cannot be added.", survey=lambda board, options: lambda picture: {})
def unlike(picture: Picture, survey: Survey) -> Picture:
    return picture

@stage(help="Codes the light.")
def code(picture: Picture) -> CodedPicture:
    return picture.coded(np.full((15, 20), steps(picture) % 8, dtype=np.uint16))

@stage(help="Codes the sum of the codes of all pictures.", survey=lambda board, options: lambda p: int(p.codes[0, 0]))
def summed(picture: CodedPicture, survey: Survey) -> CodedPicture:
    return replace(picture, codes=np.full_like(picture.codes, survey.total % 8))
"""
END = ("bank_pictures", "binary")


@pytest.fixture
def make_chain(tmp_path: Path) -> Callable[..., Chain]:
    def make(*stages: str, files: tuple[str, ...], more: str = "") -> Chain:
        (tmp_path / "probes.py").write_text(PLUGIN)
        for file in files:
            (tmp_path / file).touch()
        text = RECIPE.replace("FILES", ", ".join(f'"{file}"' for file in files))
        text += "".join(f"[[stage]]\nuse = {use}\n" if "\n" in use else f'[[stage]]\nuse = "{use}"\n' for use in stages)
        (tmp_path / "recipe.toml").write_text(text + more)
        return Chain(recipe=load(tmp_path / "recipe.toml"))

    return make


def codes_of(chain: Chain, workers: int = 2) -> dict[str, int]:
    return {coded.origin.name: int(coded.codes[0, 0]) for coded in chain.code_pictures(workers=workers)}


def heard(chain: Chain, name: str) -> list[str]:
    """What the stages of the project's own file have noted."""
    noted: list[str] = chain.recipe.chain[0].declaration.function.__globals__[name]
    return noted


@pytest.mark.parametrize("workers", [1, 4])
def test_each_picture_is_told_of_all(make_chain: Callable[..., Chain], workers: int) -> None:
    """1 + 2 + 4 and the two frames 5 and 505 are 517."""
    chain = make_chain("numbered", "gather", "code", *END, files=("p1.png", "p2.png", "p4.png", "p5x2.png"))
    expected = {"p1": 518 % 8, "p2": 519 % 8, "p4": 521 % 8, "p5x2": 522 % 8, "p5x2#1": 1022 % 8}
    assert codes_of(chain, workers) == expected


@pytest.mark.parametrize("workers", [1, 4])
def test_what_is_seen_is_added_up_in_the_recipes_order(make_chain: Callable[..., Chain], workers: int) -> None:
    numbers = [7, 3, 9, 1, 4, 8, 2]
    chain = make_chain(
        "numbered", f'"in_order"\nwanted = {numbers}', *END, files=tuple(f"p{number}.png" for number in numbers)
    )
    assert set(codes_of(chain, workers).values()) == {1}


def test_pictures_whose_options_need_no_survey_are_left_out(make_chain: Callable[..., Chain]) -> None:
    """All are told of the sum, but picture 4 is no part of it."""
    more = '[[picture]]\nmatch = "p4.png"\ngather = { alone = true }\n'
    chain = make_chain("numbered", "gather", "code", *END, files=("p1.png", "p2.png", "p4.png"), more=more)
    assert codes_of(chain) == {"p1": 4, "p2": 5, "p4": 7}
    assert sorted(heard(chain, "looked")) == ["p1", "p2"]


def test_without_a_survey_nothing_is_looked_at(make_chain: Callable[..., Chain]) -> None:
    chain = make_chain("numbered", '"gather"\nalone = true', "code", *END, files=("p1.png", "p2.png"))
    assert codes_of(chain) == {"p1": 1, "p2": 2}
    assert heard(chain, "looked") == []
    assert sorted(heard(chain, "opened")) == ["p1.png", "p2.png"]


def test_one_survey_sees_what_the_one_before_has_changed(make_chain: Callable[..., Chain]) -> None:
    """Lights 1 and 2 become 4 and 5 by the first; their sum is 9, with which the second gives 13 and 14."""
    chain = make_chain("numbered", "gather", "gather", "code", *END, files=("p1.png", "p2.png"))
    assert codes_of(chain) == {"p1": 13 % 8, "p2": 14 % 8}


def test_coded_pictures_are_surveyed_too(make_chain: Callable[..., Chain]) -> None:
    chain = make_chain("numbered", "code", "summed", *END, files=("p1.png", "p2.png", "p3.png"))
    assert codes_of(chain) == {"p1": 6, "p2": 6, "p3": 6}


def test_files_are_opened_once_where_there_is_room(make_chain: Callable[..., Chain]) -> None:
    chain = make_chain("numbered", "gather", "code", *END, files=("p1.png", "p2.png", "p3x3.png"))
    codes_of(chain)
    assert sorted(heard(chain, "opened")) == ["p1.png", "p2.png", "p3x3.png"]


def test_without_room_files_are_opened_again_and_the_result_is_the_same(
    make_chain: Callable[..., Chain], monkeypatch: pytest.MonkeyPatch
) -> None:
    files = ("p1.png", "p2.png", "p3x3.png")
    roomy = codes_of(make_chain("numbered", "gather", "code", *END, files=files))
    monkeypatch.setattr("ladderlight.cache.store.ROOM", 0)
    chain = make_chain("numbered", "gather", "code", *END, files=files)
    assert codes_of(chain) == roomy
    assert sorted(heard(chain, "opened")) == sorted(2 * files)


def test_bad_pictures_are_listed_once(make_chain: Callable[..., Chain]) -> None:
    chain = make_chain("numbered", "gather", "code", *END, files=("p1.png", "bad1.png", "bad2.png"))
    with pytest.raises(PictureError) as caught:
        chain.code_pictures()
    assert str(caught.value).splitlines() == ["bad1.png: is bad", "bad2.png: is bad"]


def test_progress_counts_both_rounds(make_chain: Callable[..., Chain]) -> None:
    more = '[[picture]]\nmatch = "p4.png"\ngather = { alone = true }\n'
    chain = make_chain("numbered", "gather", "code", *END, files=("p1.png", "p2.png", "p4.png"), more=more)
    seen: list[tuple[int, int, str]] = []
    chain.code_pictures(progress=lambda *step: seen.append(step))
    assert seen == [(number, 5, f"p{name}.png") for number, name in enumerate((1, 2, 1, 2, 4), start=1)]


def test_a_survey_that_fails_is_a_failure_of_its_stage(make_chain: Callable[..., Chain]) -> None:
    chain = make_chain("numbered", '"gather"\nclumsy = true', "code", *END, files=("p1.png",))
    with pytest.raises(StageFailure, match=r"stage 'gather' of plugin 'probes\.py' failed on p1\.png: ZeroDivision"):
        chain.code_pictures()


def test_what_a_survey_saw_that_cannot_be_added_is_a_failure_of_its_stage(make_chain: Callable[..., Chain]) -> None:
    chain = make_chain("numbered", "unlike", "code", *END, files=("p1.png", "p2.png"))
    with pytest.raises(StageFailure, match=r"^the survey of stage 'unlike' of plugin .* failed on what it saw: Type"):
        chain.code_pictures()


def test_a_stage_that_declares_no_survey_cannot_ask_for_it() -> None:
    @stage(help="Asks for what it did not look at.")
    def asking(picture: Picture, survey: Survey) -> Picture: ...

    @stage(help="Looks for nothing.", survey=lambda board, options: None)
    def looking(picture: Picture) -> Picture: ...

    for function in (asking, looking):
        with pytest.raises(PluginError, match="a survey needs a parameter annotated Survey"):
            declaration_of(function)


def test_stages_that_see_all_pictures_anyway_have_no_survey() -> None:
    @stage(help="Arranges.", survey=lambda board, options: None)
    def arranging(pictures: list[CodedPicture], survey: Survey) -> Contents: ...

    with pytest.raises(PluginError, match="a survey is for stages that see one picture at a time"):
        declaration_of(arranging)


def few(folder: Path, *more: str) -> Chain:
    """Two pictures and an animation, each in greys of its own, on eight colours."""
    rng = np.random.default_rng(3)
    for name, colours in (("red", [(255, 0, 0), (0, 0, 0)]), ("green", [(0, 255, 0), (0, 0, 0), (255, 255, 0)])):
        pixels = np.array(colours, dtype=np.uint8)[rng.integers(0, len(colours), (15, 20))]
        Image.fromarray(pixels).save(folder / f"{name}.png")
    frames = [Image.new("RGB", (20, 15), colour) for colour in ("blue", "white")]
    frames[0].save(folder / "blink.png", save_all=True, append_images=frames[1:], duration=100)
    (folder / "probes.py").write_text(PLUGIN)
    text = RECIPE.replace("FILES", '"red.png", "green.png", "blink.png"') + '[[stage]]\nuse = "few_colours"\n'
    stages = "".join(f'[[stage]]\nuse = "{use}"\n' for use in END)
    (folder / "recipe.toml").write_text(text + "\n".join(more[:1]) + "\n" + stages + "\n".join(more[1:]))
    return Chain(recipe=load(folder / "recipe.toml"))


def colours_of(chain: Chain, workers: int = 2) -> dict[str, set[int]]:
    coded = chain.code_pictures(workers=workers)
    return {picture.origin.name: set(np.unique(picture.codes).tolist()) for picture in coded}


@pytest.mark.parametrize("workers", [1, 3])
def test_few_colours_for_all_pictures(tmp_path: Path, workers: int) -> None:
    """Black, red, green, yellow, blue and white are asked for; blue and white are a whole frame each."""
    found = colours_of(few(tmp_path, 'share = "all"\ncount = 4'), workers)
    assert len(set().union(*found.values())) <= 4
    alone = colours_of(few(tmp_path, 'share = "picture"\ncount = 4'), workers)
    assert alone == {"red": {0, 4}, "green": {0, 2, 6}, "blink": {1}, "blink#1": {7}}
    assert {1, 7} <= set().union(*found.values())


def test_a_picture_with_a_choice_of_its_own(tmp_path: Path) -> None:
    more = '[[picture]]\nmatch = "green.png"\nfew_colours = { share = "picture" }\n'
    found = colours_of(few(tmp_path, 'share = "all"\ncount = 4', more))
    assert found == {"red": {0, 4}, "green": {0, 2, 6}, "blink": {1}, "blink#1": {7}}
