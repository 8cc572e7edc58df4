"""Animations of one file and of several, through the engine."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from skimage import data

from ladderlight.engine.runner import Chain
from ladderlight.errors import PictureError
from ladderlight.recipe import load
from ladderlight.workspace.build import build

BOARD = """
[board]
mode = "640x480@60"
clock = "25.175 MHz"
blanking = "output-enable"

[[board.memory]]
name = "picture"
part = "27C020"
address = ["x3-x9", "y3-y8", "bank0-bank2"]
data = ["b0-b1", "g0-g1", "r0-r1"]

[board.ladder]
supply = "5 V"
red = { r0 = "1k33", r1 = "715" }
green = { g0 = "1k33", g1 = "715" }
blue = { b0 = "1k33", b1 = "715" }
"""
SHAPE = (60, 80)
Write = Callable[..., Path]


@pytest.fixture
def frames() -> list[Image.Image]:
    """Five frames in which a square moves over a photograph."""
    still = Image.fromarray(data.astronaut()).resize((320, 240))
    made = []
    for step in range(5):
        frame = still.copy()
        frame.paste((230, 40, 30), (40 * step, 100, 40 * step + 40, 140))
        made.append(frame)
    return made


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write a recipe with these stages."""

    def make(stages: str, files: str = "*.png") -> Path:
        text = f'format = 1\n[project]\nname = "buoy"\n{BOARD}\n[pictures]\nfiles = ["{files}"]\n'
        path = tmp_path / "recipe.toml"
        path.write_text(text + stages)
        return path

    return make


def stages(*, arrangement: str = "frames", more: str = "") -> str:
    uses = ("crop", "resize", "diffuse", arrangement, "binary")
    return "".join(f'[[stage]]\nuse = "{use}"\n{more if use == arrangement else ""}' for use in uses)


def unmoved(step: int) -> np.ndarray:
    """Where frames ``step`` and the one before are the same, with a margin for the resizing."""
    mask = np.ones(SHAPE, dtype=bool)
    mask[20:40, max(10 * step - 13, 0) : 10 * step + 13] = False
    return mask


def save_jpegs(frames: list[Image.Image], folder: Path) -> None:
    for number, frame in enumerate(frames, start=1):
        frame.save(folder / f"buoy-{number}.jpg", quality=75)


def test_frames_in_files_of_their_own_keep_their_codes(tmp_path: Path, frames, write: Write) -> None:
    save_jpegs(frames, tmp_path)
    coded = Chain(recipe=load(write(stages(), "*.jpg"))).code_pictures()
    for step in range(1, 5):
        before, after = coded[step - 1].codes, coded[step].codes
        assert (before != after)[unmoved(step)].mean() < 0.002
        assert (before != after)[~unmoved(step)].mean() > 0.1
        assert coded[step].metrics["flicker_share"] < 0.002
        assert coded[step].metrics["still_share"] > 0.8


@pytest.mark.parametrize("source", ["files", "one file"])
def test_what_moves_does_not_take_the_crop_with_it(tmp_path: Path, write: Write, source: str) -> None:
    """A busy square crosses a plain wide picture: cropped by the busiest part, each frame would show another part."""
    wide = []
    for step in range(4):
        pixels = np.full((120, 400, 3), 120, dtype=np.uint8)
        pixels[:, ::40] = 60  # a fence
        pixels[40:80, 80 + 50 * step : 120 + 50 * step] = np.random.default_rng(1).integers(0, 255, (40, 40, 3))
        wide.append(Image.fromarray(pixels))
    if source == "files":
        for number, frame in enumerate(wide):
            frame.save(tmp_path / f"buoy-{number}.png")
    else:
        wide[0].save(tmp_path / "buoy.png", save_all=True, append_images=wide[1:], duration=100)
    coded = Chain(recipe=load(write(stages()))).code_pictures()
    assert len(coded) == 4
    assert all(picture.origin.animated for picture in coded)
    assert all(picture.metrics["still_share"] > 0.7 for picture in coded)


def test_nothing_is_kept_where_no_arrangement_shows_them_one_after_another(tmp_path, frames, write: Write) -> None:
    save_jpegs(frames, tmp_path)
    coded = Chain(recipe=load(write(stages(arrangement="bank_pictures"), "*.jpg"))).code_pictures()
    assert (coded[0].codes != coded[1].codes)[unmoved(1)].mean() > 0.05
    assert not any("flicker_share" in picture.metrics for picture in coded)


def test_without_a_threshold_only_equal_colours_are_held(tmp_path, frames, write: Write) -> None:
    save_jpegs(frames, tmp_path)
    coded = Chain(recipe=load(write(stages(more="still = 0\n"), "*.jpg"))).code_pictures()
    assert coded[1].metrics["flicker_share"] > 0.005


@pytest.mark.parametrize("lossless", [True, False])
def test_an_animation_in_one_file(tmp_path: Path, frames, write: Write, lossless: bool) -> None:
    options = {"save_all": True, "append_images": frames[1:], "duration": 100, "lossless": lossless, "quality": 75}
    frames[0].save(tmp_path / "buoy.webp", **options)
    coded = Chain(recipe=load(write(stages(arrangement="bank_pictures"), "*.webp"))).code_pictures()
    assert len(coded) == 5
    for step in range(1, 5):
        assert (coded[step - 1].codes != coded[step].codes)[unmoved(step)].mean() < 0.005


def test_any_number_of_workers_gives_the_same(tmp_path: Path, frames, write: Write) -> None:
    save_jpegs(frames, tmp_path)
    chain = Chain(recipe=load(write(stages(), "*.jpg")))
    every = [chain.code_pictures(workers=workers) for workers in (1, 2, 7)]
    for others in every[1:]:
        for one, other in zip(every[0], others, strict=True):
            np.testing.assert_array_equal(one.codes, other.codes)
            assert (one.metrics, one.notes) == (other.metrics, other.notes)


def test_the_first_frame_is_compared_with_the_last(tmp_path: Path, frames, write: Write) -> None:
    save_jpegs([*frames[:3], frames[1], frames[0]], tmp_path)
    coded = Chain(recipe=load(write(stages(), "*.jpg"))).code_pictures()
    assert coded[0].metrics["still_share"] == 1
    assert coded[0].metrics["flicker_share"] == 0
    np.testing.assert_array_equal(coded[0].codes, coded[4].codes)


def test_two_animations_and_what_belongs_to_none(tmp_path: Path, frames, write: Write) -> None:
    for name in ("buoy", "lamp", "mole"):
        for number in (1, 2):
            frames[number].save(tmp_path / f"{name}-{number}.png")
    text = stages(more='match = "buoy-*"\nfirst = 0\ncount = 2\n')
    text = text.replace(
        '[[stage]]\nuse = "binary"',
        '[[stage]]\nuse = "frames"\nmatch = "lamp-*.png"\nfirst = 2\ncount = 2\n[[stage]]\nuse = "binary"',
    )
    coded = {p.origin.name: p for p in Chain(recipe=load(write(text))).code_pictures()}
    for name in ("buoy", "lamp"):
        assert (coded[f"{name}-1"].codes != coded[f"{name}-2"].codes)[unmoved(2)].mean() < 0.002
        assert "flicker_share" in coded[f"{name}-1"].metrics
    assert (coded["mole-1"].codes != coded["mole-2"].codes)[unmoved(2)].mean() > 0.05
    assert "flicker_share" not in coded["mole-1"].metrics


def test_the_manifest_has_the_flicker(tmp_path: Path, frames, write: Write) -> None:
    save_jpegs(frames, tmp_path)
    built = build(load(write(stages(), "*.jpg")))
    manifest = json.loads((built.output / "manifest.json").read_text())
    shares = [picture["metrics"]["flicker_share"] for picture in manifest["pictures"]]
    assert len(shares) == 8  # five frames in eight banks
    assert max(shares) < 0.002
    assert any("change where the picture does not" in note for note in manifest["notes"])


def test_a_broken_frame_lets_the_others_go_on(tmp_path: Path, frames, write: Write) -> None:
    save_jpegs(frames, tmp_path)
    (tmp_path / "buoy-3.jpg").write_bytes(b"not a picture")
    for workers in (1, 3):
        with pytest.raises(PictureError, match=r"^buoy-3\.jpg: not a picture[^\n]*$"):
            Chain(recipe=load(write(stages(), "*.jpg"))).code_pictures(workers=workers)


PLUGIN = """
import threading
from ladderlight import Board, CodedPicture, Picture, stage

together = threading.Barrier(4, timeout=20)

@stage(help="Waits until four pictures are reduced at once.")
def meet(picture: Picture) -> CodedPicture:
    together.wait()
    return picture.coded((picture.pixels[:, :, 0] * 0).astype("uint16"))
"""


@pytest.mark.parametrize("arrangement", ["bank_pictures", "frames"])
def test_unrelated_photographs_are_reduced_at_once(tmp_path: Path, write: Write, arrangement: str) -> None:
    """Also where they are shown one after another: over a cut nothing is kept, so that nothing needs to wait."""
    (tmp_path / "meet.py").write_text(PLUGIN)
    photographs = (data.astronaut(), data.chelsea(), data.coffee(), data.rocket())
    for number, photograph in enumerate(photographs):
        colours = photograph if number % 2 else 255 - photograph
        Image.fromarray(colours).resize((320, 240)).save(tmp_path / f"view-{number}.png")
    path = write(stages(arrangement=arrangement, more="still = 0.001\n" if arrangement == "frames" else ""))
    path.write_text(
        path.read_text().replace("[project]", 'plugins = ["meet.py"]\n[project]').replace("diffuse", "meet")
    )
    coded = Chain(recipe=load(path)).code_pictures(workers=4)
    assert len(coded) == 4


def test_a_survey_after_the_reduction_sees_what_is_kept(tmp_path: Path, frames, write: Write) -> None:
    """The stage swaps codes by how often all pictures together use them; each round keeps the same codes."""
    (tmp_path / "tally.py").write_text(
        "import numpy as np\n"
        "from ladderlight import Board, CodedPicture, Survey, stage\n"
        "def look(board, options):\n"
        "    return lambda picture: np.bincount(picture.codes.ravel(), minlength=64)\n"
        '@stage(help="Notes how often a code is used in all pictures.", survey=look)\n'
        "def tally(picture: CodedPicture, survey: Survey) -> CodedPicture:\n"
        '    return picture.with_notes({"uses": int(survey.total[0])})\n'
    )
    save_jpegs(frames, tmp_path)
    path = write(
        stages().replace('[[stage]]\nuse = "frames"', '[[stage]]\nuse = "tally"\n[[stage]]\nuse = "frames"'), "*.jpg"
    )
    path.write_text(path.read_text().replace("[project]", 'plugins = ["tally.py"]\n[project]'))
    coded = Chain(recipe=load(path)).code_pictures(workers=2)
    assert [p.notes["uses"] for p in coded] == [sum(int((p.codes == 0).sum()) for p in coded)] * 5
    assert coded[1].metrics["flicker_share"] < 0.002
