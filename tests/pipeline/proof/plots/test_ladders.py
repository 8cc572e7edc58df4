"""The plot of channels: where dots and bars stand, and which channels are alike."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ladderlight.board.ladders.analysis import analyse
from ladderlight.proof.plots.ladders import alike, ladder_plot

RED = {"r0": 1330.0, "r1": 715.0}


@pytest.fixture
def red(ladder):
    """A channel with 5 % resistors."""
    return analyse(replace(ladder(red=RED), tolerance=0.05)).channels[0]


def test_dots_stand_at_their_volts(red, read, every) -> None:
    """All levels first, then all errors. Both scales are linear."""
    dots = every(read(ladder_plot([red])), "circle")
    levels, errors = dots[:4], dots[4:]
    y = [float(dot.get("cy")) for dot in levels]
    for code in (1, 2):
        share = (y[code] - y[0]) / (y[3] - y[0])
        assert share == pytest.approx(red.levels[code].volts / red.levels[3].volts, abs=1e-3)
    off = [float(dot.get("cy")) for dot in errors]
    scale = (off[2] - off[0]) / red.levels[2].error
    assert scale < 0  # brighter is higher
    for code in (1, 3):
        assert off[code] - off[0] == pytest.approx(scale * red.levels[code].error, abs=0.05)
    assert [dot.get("cx") for dot in levels] == [dot.get("cx") for dot in errors]


def test_dots_have_the_colour_that_is_shown(red, read, every) -> None:
    dots = every(read(ladder_plot([red])), "circle")
    assert [dot.get("fill") for dot in dots[:4]] == ["#000000", "#580000", "#a50000", "#fd0000"]
    grey = replace(red, guns=(0, 1, 2))
    assert every(read(ladder_plot([grey])), "circle")[1].get("fill") == "#585858"


def test_bars_reach_over_the_tolerance(red, read, every) -> None:
    """The thin bar of code 3 in the upper part ends where its extremes are."""
    root = read(ladder_plot([red]))
    y = [float(dot.get("cy")) for dot in every(root, "circle")]
    x = every(root, "circle")[3].get("cx")
    per_volt = (y[3] - y[0]) / red.levels[3].volts
    bar = next(line for line in every(root, "line") if line.get("x1") == line.get("x2") == x)
    ends = sorted((float(bar.get(name)) - y[0]) / per_volt for name in ("y1", "y2"))
    assert ends == pytest.approx([red.levels[3].lowest, red.levels[3].highest], abs=3e-4)


def test_exact_resistors_have_no_bars(ladder, read, every) -> None:
    root = read(ladder_plot([analyse(ladder(red=RED)).channels[0]]))
    upright = [line for line in every(root, "line") if line.get("x1") == line.get("x2")]
    assert len(upright) == 4  # the errors' stems only


def test_words(red, read, words) -> None:
    written = words(read(ladder_plot([red])))
    assert written[:4] == ["Red: 4 levels", "worst error 15.0 mV, white 0.694 V", "level at the monitor, V", "0.0"]
    assert written[-10:] == ["V", "0.000", "0.243", "0.452", "0.694", "mV", "0.0", "+9.5", "-15.0", "-5.6"]
    assert read(ladder_plot([red])).get("aria-label") == (
        "Levels of red: 4 codes from 0.000 to 0.694 V, at most 15.0 mV from equal steps"
    )


def test_many_codes_are_not_all_labelled(ladder, read, words, every) -> None:
    wide = analyse(ladder(red={f"r{bit}": 910.0 * 2 ** (6 - bit) for bit in range(7)})).channels[0]
    root = read(ladder_plot([wide]))
    assert len(every(root, "circle")) == 256
    written = words(root)
    assert written[written.index("code") + 1 :] == [str(code) for code in range(0, 128, 16)]


def test_overdriven_levels_stay_inside(ladder, read, every) -> None:
    root = read(ladder_plot([analyse(ladder(red={"r": 100.0})).channels[0]]))
    assert all(float(dot.get("cy")) > 0 for dot in every(root, "circle"))


def test_a_falling_ladder_is_named(ladder, read, words) -> None:
    """With resistors almost equal, two lines high (code 3) give more than the third alone (code 4)."""
    falling = analyse(ladder(red={"r0": 1500.0, "r1": 1450.0, "r2": 1400.0})).channels[0]
    assert words(read(ladder_plot([falling])))[1].endswith("not monotonic")


def test_channels_of_the_same_resistors_are_one(ladder) -> None:
    tables = {
        "red": RED,
        "green": {line.replace("r", "g"): ohms for line, ohms in RED.items()},
        "blue": {"b0": 1330.0, "b1": 680.0},
    }
    channels = analyse(replace(ladder(**tables), tolerance=0.05)).channels
    groups = alike(channels)
    assert [[channel.name for channel in group] for group in groups] == [["red", "green"], ["blue"]]
    assert ">Red and green: 4 levels<" in ladder_plot(groups[0])
    assert 'fill="#585800"' in ladder_plot(groups[0])  # what both show together
