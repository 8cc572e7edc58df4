"""The colours of the pages' two schemes."""

from __future__ import annotations

import re
from importlib.resources import files
from itertools import product

import pytest

PROPERTY = re.compile(r"--([a-z]+): (#[0-9a-f]{6})\b")


def schemes() -> dict[str, dict[str, str]]:
    """The properties of each scheme, from the style that all pages share."""
    style = files("ladderlight.proof").joinpath("templates/page.css").read_text(encoding="utf-8")
    light, dark = re.findall(r":root \{(.*?)\}", style, re.DOTALL)[:2]
    assert style.index("@media screen and (prefers-color-scheme: dark)") < style.index(dark)
    return {"light": dict(PROPERTY.findall(light)), "dark": dict(PROPERTY.findall(dark))}


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours: WCAG 2.2, definitions of "contrast ratio" and "relative luminance"."""
    dark, light = sorted(luminance(colour) for colour in (one, other))
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize(
    ("colour", "on_white"),
    # White and black by definition; #767676 is widely given as the lightest grey with 4.5 on white, #777777 as just
    # too light (from memory).
    [("#ffffff", 1.0), ("#000000", 21.0), ("#767676", 4.54), ("#777777", 4.48)],
)
def test_contrast_is_that_of_wcag(colour: str, on_white: float) -> None:
    assert contrast(colour, "#ffffff") == pytest.approx(on_white, abs=0.005)


def test_both_schemes_have_all_colours() -> None:
    light, dark = schemes().values()
    assert light.keys() == dark.keys() >= {"paper", "ink", "muted", "line", "accent", "warn", "error"}
    assert luminance(light["paper"]) > 0.8
    assert luminance(dark["paper"]) < 0.02


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_have_a_contrast_of_4_5_on_every_ground(scheme: str) -> None:
    """Success criterion 1.4.3, and so signs 3 (1.4.11); plots write words in ``paper`` on bars of each colour."""
    colours = schemes()[scheme]
    pairs = product(("paper", "wash"), ("ink", "muted", "accent", "warn", "error"))
    found = {(one, other): contrast(colours[one], colours[other]) for one, other in pairs}
    assert {pair: round(ratio, 2) for pair, ratio in found.items() if ratio < 4.5} == {}
