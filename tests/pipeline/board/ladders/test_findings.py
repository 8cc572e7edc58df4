"""What is said about ladders, and what is not said about good ones."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ladderlight.board import Channel, Finding, Ladder
from ladderlight.board.ladders.findings import ladder_findings

RGB = {name: {f"{name[0]}0": 1330.0, f"{name[0]}1": 715.0} for name in ("red", "green", "blue")}
R2R = {name: {f"{name[0]}{bit}": 660.0 for bit in range(2)} for name in ("red", "green", "blue")}


def r2r_ladder(**more: float) -> Ladder:
    channels = tuple(
        Channel(name=name, resistors=table, guns=(gun,), r2r=330.0) for gun, (name, table) in enumerate(R2R.items())
    )
    return Ladder(supply=5.0, channels=channels, **more)


def about(found: list[Finding], word: str) -> Finding:
    return next(finding for finding in found if word in finding.message)


def test_a_good_ladder_gets_no_errors(ladder) -> None:
    found = ladder_findings(replace(ladder(**RGB), driver_high=10.0, driver_low=10.0))
    assert {finding.level for finding in found} == {"note"}


def test_white_too_low_says_by_how_much(ladder) -> None:
    found = about(ladder_findings(replace(ladder(**RGB), supply=3.3)), "too low")
    assert (found.level, found.where) == ("caution", "ladder red, green and blue")
    assert "white is 0.458 V" in found.message
    # 278.571 ohm is wanted where 465.0 ohm (1330 and 715 in parallel) are.
    assert "by about 0.60" in found.message
    scaled = {name: {line: ohms * 278.571 / 465.01 for line, ohms in table.items()} for name, table in RGB.items()}
    assert not [f for f in ladder_findings(replace(ladder(**scaled), supply=3.3)) if "white" in f.message]


def test_white_too_high(ladder) -> None:
    found = about(ladder_findings(ladder(red={"r": 330.0})), "too high")
    assert "bright colours run together; multiply the resistors by about 1.40" in found.message


def test_resistors_a_thousand_times_too_large(ladder) -> None:
    """460.71 ohm give 0.700 V: 75 ohm * (5 V / 0.7 V - 1)."""
    found = about(ladder_findings(ladder(red={"r": 460714.0})), "too low")
    assert found.message.endswith("the picture is dim; divide the resistors by about 1000")


def test_scaling_an_r2r_ladder_counts_its_resistor_to_ground() -> None:
    """220 ohm give 0.953 V; 1.485 times as much gives 0.700 V (bisection on the nodes' equations, done apart)."""
    table = {"r0": 440.0, "r1": 440.0}
    channel = Channel(name="red", resistors=table, guns=(0,), r2r=220.0)
    found = about(ladder_findings(Ladder(supply=5.0, channels=(channel,))), "too high")
    assert "white is 0.953 V" in found.message
    assert "multiply the resistors by about 1.49" in found.message


@pytest.mark.parametrize(("ohms", "said"), [(411.0, True), (413.0, False), (488.0, False), (490.0, True)])
def test_white_against_the_standard(ladder, ohms: float, said: bool) -> None:
    """0.770 V through 412.0 ohm, 0.665 V through 488.9."""
    found = ladder_findings(ladder(red={"r": ohms}))
    assert any("is standard" in finding.message for finding in found) is said


def test_tolerance_of_white(ladder) -> None:
    found = about(ladder_findings(replace(ladder(**RGB), tolerance=0.1)), "tolerance lets white be")
    assert "0.639 V to 0.760 V" in found.message
    assert found.level == "note"


def test_black_not_zero(ladder) -> None:
    found = about(ladder_findings(replace(ladder(**RGB), low_volts=0.4)), "black is")
    assert found.level == "caution"
    assert "0.056 V" in found.message


def test_out_of_order(ladder) -> None:
    found = about(ladder_findings(ladder(red={"a": 2000.0, "b": 1900.0, "c": 1330.0})), "not brighter")
    assert found.level == "caution"
    assert "code 4" in found.message
    assert "ladderlight ladder --bits 3" in found.message


def test_out_of_order_by_tolerance(ladder) -> None:
    subject = replace(ladder(red={"a": 2100.0, "b": 2060.0, "c": 1000.0}), tolerance=0.05)
    found = about(ladder_findings(subject), "monotonic at nominal values only")
    assert found.level == "note"
    assert "of 2,000 ladders drawn" in found.message


def test_destroying_current(ladder) -> None:
    found = about(ladder_findings(ladder(red={"a": 100.0})), "absolute maximum")
    assert (found.level, found.where) == ("caution", "line a")
    assert "28.6 mA" in found.message


def test_ideal_drivers_carry_too_much_to_be_ideal(ladder) -> None:
    subject = ladder(**RGB)
    found = about(ladder_findings(subject), "datasheets specify")
    assert (found.level, found.where) == ("caution", "lines r1, g1 and b1")
    assert "give the drivers' resistance" in found.message
    declared = replace(subject, driver_high=10.0, driver_low=10.0)
    assert about(ladder_findings(declared), "datasheets specify").level == "note"


def test_memory_outputs_drive_no_ladders(make_board) -> None:
    found = about(ladder_findings(make_board()), "memory outputs would drive")
    assert found.level == "caution"
    assert found.where == "lines r0, r1, g0, g1, b0 and b1"


def test_registers_may_drive_ladders(make_board, memory) -> None:
    picture = memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], output="register")
    assert not [f for f in ladder_findings(make_board(picture)) if "memory outputs would drive" in f.message]


def test_hot_resistor(ladder) -> None:
    """A high line against a low one of 10 ohm: nearly the whole supply across 100 ohm."""
    found = about(ladder_findings(ladder(red={"a": 100.0, "b": 10.0})), "dissipates")
    output = 5 * (1 / 100) / (1 / 100 + 1 / 10 + 1 / 75)
    assert found.level == "caution"
    assert f"the 100 ohm resistor of a dissipates {(5 - output) ** 2 / 100 * 1e3:.0f} mW;" in found.message


def test_coincident_codes(ladder) -> None:
    found = ladder_findings(ladder(red={"a": 1000.0, "b": 1000.0}))
    assert "codes 1 and 2 look alike" in about(found, "look alike").message
    assert "4 codes show 3 different colours" in about(found, "different colours").message


def test_a_gun_fed_twice_is_an_error(ladder) -> None:
    twice = Ladder(
        supply=5.0,
        channels=(
            Channel(name="red", resistors={"a": 470.0}, guns=(0,)),
            Channel(name="grey", resistors={"b": 150.0}, guns=(0, 1, 2)),
        ),
    )
    found = ladder_findings(twice)[0]
    assert (found.level, found.where) == ("error", "ladder grey")
    assert "red and grey feed red" in found.message


def test_a_gun_that_nothing_feeds(ladder) -> None:
    assert {
        f.message.split(";")[0] for f in ladder_findings(ladder(red={"r": 470.0})) if "nothing feeds" in f.message
    } == {
        "nothing feeds green",
        "nothing feeds blue",
    }


def test_coupling_through_shared_drivers(ladder) -> None:
    table = {name: {"i": 715.0, name[0]: 1330.0} for name in ("red", "green", "blue")}
    shared = replace(ladder(**table), driver_high=150.0, driver_low=150.0)
    assert "through shared drivers" in about(ladder_findings(shared), "shared drivers").message


def test_open_outputs_mislead_a_meter(ladder) -> None:
    assert "up to 5.000 V; measure into 75 ohm" in about(ladder_findings(ladder(**RGB)), "unloaded outputs").message


def test_findings_are_ranked() -> None:
    levels = [finding.level for finding in ladder_findings(r2r_ladder(low_volts=0.5, tolerance=0.2))]
    assert levels == sorted(levels, key=("error", "caution", "note").index)
    assert len(set(levels)) == 2
