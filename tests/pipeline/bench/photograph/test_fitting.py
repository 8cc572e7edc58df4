"""Looks that a photograph cannot tell apart. The divider is computed here, by Millman's theorem."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight.bench.photograph.fitting import alike

OHMS = {"r0": 1330.0, "r1": 715.0}
LOAD, SUPPLY, PEAK = 75.0, 5.0, 0.7


def volts(high: set[str], ohms: dict[str, float] = OHMS) -> float:
    return sum(SUPPLY / ohms[line] for line in high if line in ohms) / (sum(1 / r for r in ohms.values()) + 1 / LOAD)


def screen(reds: list[float]) -> np.ndarray:
    """Sixteen by four cells: each of four codes of red beside three greens, as light (IEC 61966-2-1)."""
    drive = np.zeros((4, 12, 3))
    drive[..., 0] = np.array(reds)[:, None] / PEAK
    drive[..., 1] = np.tile([0.0, 0.5, 1.0], 4)
    light = np.where(drive <= 0.04045, drive / 12.92, ((drive + 0.055) / 1.055) ** 2.4)
    return light.astype(np.float32)


def reds(ohms: dict[str, float], stuck: str = "") -> list[float]:
    return [volts({"r0", "r1"} & set(high) - {stuck}, ohms) for high in ((), ("r0",), ("r1",), ("r0", "r1"))]


def test_a_missing_resistor_is_its_line_stuck_low_times_a_gain() -> None:
    """With ``g`` gone of all conductances ``G``, every voltage is ``G / (G - g)`` times that with the line low."""
    low, missing = reds(OHMS, "r1"), reds({"r0": 1330.0})
    whole, gone = sum(1 / r for r in (1330.0, 715.0, 75.0)), 1 / 715.0
    assert missing == pytest.approx([whole / (whole - gone) * value for value in low], rel=1e-12)
    assert alike(screen(low), np.stack([screen(low), screen(missing)])).tolist() == [True, True]


def test_a_small_resistor_ten_times_too_large_is_as_good_as_missing_and_a_large_one_is_not() -> None:
    """What is left of its level is 4 % and 7 % of the peak: 0.025 V and 0.049 V, nine and 18 steps of 8 bits."""
    for line, same in (("r0", True), ("r1", False)):
        missing = {other: ohms for other, ohms in OHMS.items() if other != line}
        larger = OHMS | {line: 10 * OHMS[line]}
        rest = volts({line}, larger) / PEAK
        assert rest == pytest.approx({"r0": 0.0363, "r1": 0.0702}[line], abs=2e-3)
        assert alike(screen(reds(missing)), screen(reds(larger))[None]).tolist() == [same]


def test_stuck_low_stuck_high_and_sound_stay_apart() -> None:
    stuck_high = [volts({"r1"} | high) for high in (set(), {"r0"}, {"r1"}, {"r0", "r1"})]
    looks = np.stack([screen(reds(OHMS)), screen(reds(OHMS, "r1")), screen(stuck_high)])
    assert [alike(look, looks).tolist() for look in looks] == np.eye(3, dtype=bool).tolist()


@pytest.mark.parametrize(("gain", "same"), [(1.25, True), (1.45, False), (2.0, False)])
def test_a_gain_beyond_the_cast_of_a_camera_stays_apart(gain, same) -> None:
    """Each gain within 20 % of their mean: 1.25 is 15 % above that of 1.25, 1 and 1; 1.45 is 26 % above its own."""
    light = 0.4 * screen([0.0, 0.2, 0.4, 0.6])
    assert alike(light, (light * np.float32([gain, 1, 1]))[None]).tolist() == [same]


def test_a_dark_screen_is_like_no_other() -> None:
    light = screen([0.0, 0.2, 0.4, 0.6])
    both = np.stack([light, 0 * light])
    assert alike(light, both).tolist() == [True, False]
    assert alike(0 * light, both).tolist() == [False, True]
