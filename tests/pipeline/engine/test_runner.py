"""The engine, on recipes with stages of their own that show what they are given."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from ladderlight.engine.runner import Chain
from ladderlight.errors import BuildError, PictureError, StageFailure
from ladderlight.recipe import load

from ...boards import COLOURS

BOARD = COLOURS

PLUGIN = """
import numpy as np
from collections.abc import Iterator
from pathlib import Path
from ladderlight import Board, CodedPicture, Contents, Demand, DeviceFile, Origin, Picture, PictureError, stage


@stage(help="Gives frames as the file's name says, and notes the demand in their light.")
def probe(path: Path, board: Board, demand: Demand) -> list[Picture]:
    if path.stem.startswith("bad"):
        raise PictureError("is bad")
    count = int(path.stem.rpartition("x")[2]) if "x" in path.stem else 1
    size = demand.width or 0
    pixels = np.full((1, 1, 3), size / 1000, dtype=np.float32)
    return [Picture(origin=Origin(name="?", source="?"), pixels=pixels) for _ in range(count)]

@stage(help="Asks for twice the next stage's width.", demand=lambda d, board, options: Demand(width=10, height=10))
def modest(picture: Picture) -> Picture:
    return picture

@stage(help="Does not say what it wants.")
def greedy(picture: Picture) -> Picture:
    return picture

@stage(help="Codes the noted demand.")
def note(picture: Picture) -> CodedPicture:
    return picture.coded(np.full((15, 20), round(1000 * float(picture.pixels[0, 0, 0])) % 8, dtype=np.uint16))

@stage(help="Breaks the contract.")
def wrong(picture: Picture) -> CodedPicture:
    return picture.coded(np.zeros((15, 20), dtype=np.int64))

@stage(help="Uses a code that is not there.")
def beyond(picture: Picture) -> CodedPicture:
    return picture.coded(np.full((15, 20), 8, dtype=np.uint16))

@stage(help="Forgets to convert.")
def doubled(picture: Picture) -> Picture:
    return picture.with_pixels(picture.pixels.astype(np.float64))

OPENED = []

@stage(help="Gives frames one after another, and counts them.")
def flow(path: Path) -> Iterator[Picture]:
    for frame in range(3):
        OPENED.append(frame)
        yield Picture(origin=Origin(name="?", source="?"), pixels=np.zeros((1, 1, 3), dtype=np.float32))
    if path.stem == "bad":
        raise PictureError("ends too soon")
    if path.stem == "broken":
        raise RuntimeError("lost")

@stage(help="Adds to the light how many frames have been opened.")
def counted(picture: Picture) -> Picture:
    return picture.with_pixels(picture.pixels + np.float32(len(OPENED) / 1000))

@stage(help="Forgets its result.")
def nothing(path: Path) -> list[Picture]:
    pass

@stage(help="Gives something else.")
def texts(path: Path) -> list[Picture]:
    return ["quay"]

@stage(help="Calls all files alike.")
def alike(contents: Contents) -> list[DeviceFile]:
    return [DeviceFile(device="picture", name="all.bin", data=b"", span=None)] * 2
"""

MakeChain = Callable[..., Chain]


@pytest.fixture
def make_chain(tmp_path: Path) -> MakeChain:
    """Write a recipe with these stages and empty files of these names, and load it."""

    def make(*stages: str, files: tuple[str, ...] = ("a.png",), more: str = "") -> Chain:
        (tmp_path / "probes.py").write_text(PLUGIN)
        for file in files:
            (tmp_path / file).parent.mkdir(exist_ok=True)
            (tmp_path / file).touch()
        listed = ", ".join(f'"{file}"' for file in files)
        text = (
            f'format = 1\nplugins = ["probes.py"]\n[project]\nname = "probe"\n{BOARD}\n[pictures]\nfiles = [{listed}]\n'
        )
        text += "".join(f'[[stage]]\nuse = "{use}"\n' for use in stages)
        (tmp_path / "recipe.toml").write_text(text + more)
        return Chain(recipe=load(tmp_path / "recipe.toml"))

    return make


END = ("bank_pictures", "binary")


def test_results_keep_the_files_order_for_any_number_of_workers(make_chain: MakeChain) -> None:
    files = tuple(f"p{number}.png" for number in range(12))
    chain = make_chain("probe", "note", *END, files=files)
    for workers in (1, 4):
        coded = chain.code_pictures(workers=workers)
        assert [picture.origin.source for picture in coded] == list(files)
        assert [picture.origin.name for picture in coded] == [f"p{number}" for number in range(12)]


def test_equal_stems_get_names_of_their_own(make_chain: MakeChain) -> None:
    coded = make_chain("probe", "note", *END, files=("day/a.png", "night/a.png")).code_pictures()
    assert [picture.origin.name for picture in coded] == ["a", "a~2"]


def test_frames_are_numbered_and_banks_counted_on(make_chain: MakeChain) -> None:
    more = '[[picture]]\nmatch = "gullx3.png"\nbank = 5\n'
    coded = make_chain("probe", "note", *END, files=("gullx3.png",), more=more).code_pictures()
    assert [picture.origin.name for picture in coded] == ["gullx3", "gullx3#1", "gullx3#2"]
    assert [picture.origin.bank for picture in coded] == [5, 6, 7]


def test_each_frame_goes_through_the_picture_stages_before_the_next_is_opened(make_chain: MakeChain) -> None:
    coded = make_chain("flow", "counted", "counted", "note", *END).code_pictures()
    assert [picture.origin.name for picture in coded] == ["a", "a#1", "a#2"]
    assert [int(picture.codes[0, 0]) for picture in coded] == [2, 4, 6]


def test_a_source_that_fails_on_its_way_is_named(make_chain: MakeChain) -> None:
    with pytest.raises(PictureError, match=r"^bad.png: ends too soon$"):
        make_chain("flow", "note", *END, files=("bad.png",)).code_pictures()
    with pytest.raises(StageFailure, match=r"^stage 'flow' of plugin '.*' failed on broken.png: RuntimeError: lost$"):
        make_chain("flow", "note", *END, files=("broken.png",)).code_pictures()


@pytest.mark.parametrize(
    ("source", "words"), [("nothing", "None, not a list of Picture,"), ("texts", "a str, not a Picture,")]
)
def test_a_source_that_gives_something_else_is_named(make_chain: MakeChain, source: str, words: str) -> None:
    with pytest.raises(StageFailure, match=rf"^stage '{source}' of plugin '.*' gave {words} for a.png$"):
        make_chain(source, "note", *END).code_pictures()


def test_the_source_learns_what_the_first_picture_stage_wants(make_chain: MakeChain) -> None:
    (picture,) = make_chain("probe", "modest", "note", *END).code_pictures()
    assert int(picture.codes[0, 0]) == 10 % 8


@pytest.mark.parametrize("stages", [("greedy", "modest"), ("greedy",), ()])
def test_the_source_gives_full_size_when_the_next_stage_does_not_say(
    make_chain: MakeChain, stages: tuple[str, ...]
) -> None:
    (picture,) = make_chain("probe", *stages, "note", *END).code_pictures()
    assert int(picture.codes[0, 0]) == 0


def test_all_bad_pictures_are_listed_after_all_were_tried(make_chain: MakeChain) -> None:
    chain = make_chain("probe", "note", *END, files=("a.png", "bad1.png", "b.png", "bad2.png"))
    seen: list[tuple[int, int, str]] = []
    with pytest.raises(PictureError) as caught:
        chain.code_pictures(progress=lambda *step: seen.append(step))
    assert str(caught.value).splitlines() == ["bad1.png: is bad", "bad2.png: is bad"]
    assert seen == [(1, 4, "a.png"), (2, 4, "bad1.png"), (3, 4, "b.png"), (4, 4, "bad2.png")]


@pytest.mark.parametrize(
    ("stages", "words"),
    [
        (("wrong",), r"stage 'wrong' of plugin 'probes\.py' gave codes of int64 \(15, 20\), not uint16"),
        (("beyond",), r"stage 'beyond' .*gave code 8, beyond the board's 8 codes"),
        (("doubled", "note"), r"stage 'doubled' .*gave pixels of float64"),
    ],
)
def test_a_result_that_breaks_the_contract_is_a_failure_of_that_stage(
    make_chain: MakeChain, stages: tuple[str, ...], words: str
) -> None:
    with pytest.raises(StageFailure, match=words):
        make_chain("probe", *stages, *END).code_pictures()


def test_two_files_of_one_name_are_refused_with_both_stages(make_chain: MakeChain) -> None:
    chain = make_chain("probe", "note", "bank_pictures", "binary", "binary")
    contents = chain.arrange(chain.code_pictures())
    with pytest.raises(BuildError, match=r"'binary' and 'binary' would both write devices/picture\.bin"):
        chain.emit(contents)


def test_one_stage_that_gives_two_devices_one_file_is_told_so(make_chain: MakeChain) -> None:
    chain = make_chain("probe", "note", "bank_pictures", "alike")
    contents = chain.arrange(chain.code_pictures())
    with pytest.raises(BuildError, match=r"'alike' would write several files to devices/all\.bin; put \{device\}"):
        chain.emit(contents)


def test_a_picture_goes_through_to_its_bank(make_chain: MakeChain, tmp_path: Path) -> None:
    Image.new("RGB", (40, 30), (255, 0, 0)).save(tmp_path / "red.png")
    chain = make_chain("crop", "resize", "nearest", *END, files=("red.png",))
    (file,) = chain.emit(chain.arrange(chain.code_pictures()))
    assert file.name == "picture.bin"
    words = np.frombuffer(file.data, dtype=np.uint8)
    # x5-x9 and y5-y8: 20 by 15 pixels at a stride of 32, code 4 (the third data pin) in the lower bits, the rest ones
    assert (words[: 32 * 15].reshape(15, 32)[:, :20] == 0b11111100).all()
    assert (words[: 32 * 15].reshape(15, 32)[:, 20:] == 0xFF).all()


def test_an_animation_does_not_crawl_where_it_stands_still(make_chain: MakeChain, tmp_path: Path) -> None:
    ramp = np.tile(np.linspace(0, 255, 20).astype(np.uint8)[None, :, None], (15, 1, 3))
    frames = []
    for place in range(3):
        frame = ramp.copy()
        frame[3:6, 2 + 5 * place : 5 + 5 * place] = 0
        frames.append(Image.fromarray(frame))
    frames[0].save(tmp_path / "ramp.png", save_all=True, append_images=frames[1:], duration=100)
    chain = make_chain("resize", "diffuse", "bank_pictures", "binary", files=("ramp.png",))
    frames[0].save(tmp_path / "ramp.png", save_all=True, append_images=frames[1:], duration=100)
    coded = chain.code_pictures()
    assert len(coded) == 3
    for number in (1, 2):
        before, after = np.asarray(frames[number - 1]), np.asarray(frames[number])
        same = (before == after).all(axis=2)
        assert (coded[number].codes[same] == coded[number - 1].codes[same]).all()
        assert (coded[number].codes[~same] != coded[number - 1].codes[~same]).any()
