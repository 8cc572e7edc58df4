"""Examples of stages: their options are the stage's own, their boards and pictures exist, and they run."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight import CodedPicture, Example, Picture, stage
from ladderlight.errors import PluginError
from ladderlight.reference.examples import PHOTOGRAPHS, example_board, play
from ladderlight.stages.declaration import declaration_of
from ladderlight.stages.registry import installed_stages
from ladderlight.starter import SCENES

NAMES = installed_stages().names


@pytest.mark.parametrize("name", NAMES)
def test_every_example_is_valid(name: str) -> None:
    declaration = installed_stages().get(name)
    values, problems = declaration.check(declaration.example.options)
    assert problems == []
    assert values.keys() == declaration.example.options.keys()
    assert set(declaration.example.pictures) <= {*SCENES, *PHOTOGRAPHS}
    assert example_board(declaration.example.board).geometry.width == 160


@stage(help="Inverts.", example=Example(options={"share": 0.5}))
def invert(picture: Picture, *, share: float = 1.0) -> Picture:
    return picture.with_pixels((picture.pixels + share * (1 - 2 * picture.pixels)).astype(np.float32))


def test_a_picture_stage_is_given_the_board_s_size_and_its_options() -> None:
    played = play(installed_stages(), declaration_of(invert))
    (before,), (after,) = played.before, played.after
    assert before.pixels.shape == (120, 160, 3)
    assert np.allclose(after.pixels, 0.5, atol=1e-6)


def test_a_coded_stage_follows_the_reduction() -> None:
    @stage(help="Keeps.")
    def keep(picture: CodedPicture) -> CodedPicture:
        return picture

    played = play(installed_stages(), declaration_of(keep))
    assert played.before == played.after
    assert played.before[0].codes.shape == (120, 160)


def test_other_stages_take_the_place_of_those_of_their_kind() -> None:
    """The nearest colours alone leave plain areas; the default chain's error diffusion breaks them up."""
    drawn = ("lighthouse",)
    others = ({"use": "tone", "saturation": 0}, {"use": "nearest"})

    def keep(picture: CodedPicture) -> CodedPicture:
        return picture

    def plain_share(example: Example) -> float:
        played = play(installed_stages(), declaration_of(stage(help="Keeps.", example=example)(keep)))
        codes = played.before[0].codes
        return float((codes[:, 1:] == codes[:, :-1]).mean())

    assert plain_share(Example(pictures=drawn)) < 0.7
    assert plain_share(Example(pictures=drawn, others=others)) > 0.95


@pytest.mark.parametrize(
    ("example", "message"),
    [
        (Example(options={"shade": 1}), "the example of stage 'invert' is wrong: .*'shade'"),
        (Example(board="tile"), "an example names the board 'tile'; did you mean 'tiles'"),
    ],
)
def test_wrong_examples_are_refused(example: Example, message: str) -> None:
    declared = declaration_of(stage(help="Inverts.", example=example)(invert))
    with pytest.raises(PluginError, match=message):
        play(installed_stages(), declared)
