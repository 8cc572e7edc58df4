"""Colours in recipes."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight import MisfitError
from ladderlight.stages.declaration import declaration_of
from ladderlight_stages.colours import Colour, linear_colour
from ladderlight_stages.pictures.crop import crop


@pytest.mark.parametrize(
    ("text", "light"),
    [
        ("black", (0, 0, 0)),
        ("#ff00FF", (1, 0, 1)),
        ("#f00", (1, 0, 0)),
        # IEC 61966-2-1: ((128 / 255 + 0.055) / 1.055) ** 2.4
        ("grey", (0.2158605,) * 3),
    ],
)
def test_light(text, light):
    colour = linear_colour(Colour(text))
    assert colour.dtype == np.float32
    np.testing.assert_allclose(colour, light, atol=1e-6)


@pytest.mark.parametrize("text", ["bleu", "#12345", "#ff000080", ""])
def test_no_colours(text):
    with pytest.raises(
        MisfitError, match=r"which is not an opaque colour; write a name such as \"grey\", or \"#rrggbb\""
    ):
        linear_colour(Colour(text))


def test_a_recipe_is_checked_before_any_picture_is_opened():
    options, problems = declaration_of(crop).check({"border": "teal"})
    assert (options, problems) == ({"border": "teal"}, [])
    assert isinstance(options["border"], Colour)
    _, (problem,) = declaration_of(crop).check({"border": "tael"})
    assert problem.where == ("border",)
    assert str(problem) == (
        "stage 'crop': border is 'tael', which is not an opaque colour; write a name such as \"grey\", or \"#rrggbb\""
    )
    _, (problem,) = declaration_of(crop).check({"border": 3})
    assert "border is the number 3" in str(problem)
