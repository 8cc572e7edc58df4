"""The table of modes against VESA DMT as two other projects have copied it.

Sources: ``linux/v4l2-dv-timings.h`` of the Linux kernel (Debian ``linux-libc-dev``) and ``edid-decode`` (Debian
``edid-decode``). DMT gives 640x480@60 and @72 with borders of 8, which the header and our table fold into the porches;
for these ``edid-decode`` is compared with the borders added. The 70 Hz modes are older than DMT: only 720x400@70 is in
a list of either, among EDID's established timings, with a dot clock rounded to 28.32 MHz.
"""

from __future__ import annotations

import os
import re
import subprocess
from dataclasses import dataclass
from pathlib import Path

import pytest

from ladderlight.board import MODES, Axis

HEADER = Path("/usr/include/linux/v4l2-dv-timings.h")
OLDER_THAN_DMT = ("640x350@70", "640x400@70", "720x400@70")
DMT_ID = {
    "640x480@60": 0x04,
    "640x480@72": 0x05,
    "640x480@75": 0x06,
    "800x600@56": 0x08,
    "800x600@60": 0x09,
    "800x600@72": 0x0A,
    "800x600@75": 0x0B,
    "1024x768@60": 0x10,
}


def test_every_mode_is_checked() -> None:
    assert set(MODES) == {*DMT_ID, *OLDER_THAN_DMT}


@dataclass(frozen=True)
class Published:
    """A mode as the kernel's header has it."""

    clock: int
    horizontal: tuple[int, ...]
    vertical: tuple[int, ...]
    positive: tuple[bool, bool]


@pytest.fixture(scope="module")
def header() -> dict[str, Published]:
    if not HEADER.exists():
        reason = f"{HEADER} is missing (Debian linux-libc-dev)"
        pytest.fail(reason) if os.environ.get("CI") == "true" else pytest.skip(reason)
    text = HEADER.read_text()
    found: dict[str, Published] = {}
    for name, body in re.findall(r"#define V4L2_DV_BT_(?:DMT|CEA)_(\w+) \{(.*?)\n\}", text, re.DOTALL):
        arguments = re.search(r"V4L2_INIT_BT_TIMINGS\((.*)\)", body.replace("\\\n", " "), re.DOTALL)
        assert arguments, name
        fields = [field.strip() for field in arguments[1].split(",")]
        width, height, _, polarity = fields[:4]
        clock, h_front, h_sync, h_back, v_front, v_sync, v_back = map(int, fields[4:11])
        found[name] = Published(
            clock=clock,
            horizontal=(int(width), h_front, h_sync, h_back),
            vertical=(int(height), v_front, v_sync, v_back),
            positive=("HSYNC_POS" in polarity, "VSYNC_POS" in polarity),
        )
    for alias, name in re.findall(r"#define V4L2_DV_BT_DMT_(\w+)[ \t]+V4L2_DV_BT_(?:DMT|CEA)_(\w+)", text):
        found[alias] = found[name]
    return found


def parts(axis: Axis) -> tuple[int, ...]:
    return axis.active, axis.front_porch, axis.sync, axis.back_porch


@pytest.mark.parametrize("name", DMT_ID)
def test_dmt_modes_equal_the_kernels_header(name: str, header: dict[str, Published]) -> None:
    size, rate = name.split("@")
    published, mode = header[f"{size.upper()}P{rate}"], MODES[name]
    assert mode.dot_clock == published.clock
    assert parts(mode.horizontal) == published.horizontal
    assert parts(mode.vertical) == published.vertical
    assert (mode.horizontal.positive, mode.vertical.positive) == published.positive


@pytest.mark.parametrize("name", DMT_ID)
def test_dmt_modes_equal_edid_decode(name: str, program) -> None:
    text = run(program("edid-decode"), "--dmt", f"0x{DMT_ID[name]:02x}")
    mode = MODES[name]
    rates = re.search(r"([\d.]+) Hz +\S+ +([\d.]+) kHz +([\d.]+) MHz", text)
    assert rates, text
    assert float(mode.line_rate / mode.vertical.total) == pytest.approx(float(rates[1]), abs=1e-6)
    assert float(mode.line_rate) / 1e3 == pytest.approx(float(rates[2]), abs=5e-4)
    assert float(mode.dot_clock) / 1e6 == pytest.approx(float(rates[3]), abs=1e-6)
    for letter, axis in (("H", mode.horizontal), ("V", mode.vertical)):
        line = next(line for line in text.splitlines() if f"{letter}front" in line)
        border = int(match[1]) if (match := re.search(rf"{letter}border +(\d+)", line)) else 0
        values = re.search(rf"{letter}front +(\d+) +{letter}sync +(\d+) +{letter}back +(\d+) +{letter}pol ([PN])", line)
        assert values, line
        front, sync, back = map(int, values.groups()[:3])
        assert (axis.front_porch, axis.sync, axis.back_porch) == (front + border, sync, back + border)
        assert axis.positive == (values[4] == "P")


@pytest.mark.parametrize("name", OLDER_THAN_DMT)
def test_older_modes_have_the_rates_of_the_established_text_mode(name: str, program) -> None:
    """All three run at the line and frame rate of 720x400@70; 28.32 for 28.322 MHz allows 0.01 %."""
    text = run(program("edid-decode"), "--list-established-timings")
    rates = re.search(r"720x400 +(70\.\d+) Hz +\S+ +([\d.]+) kHz", text)
    assert rates, text
    assert float(MODES[name].line_rate / MODES[name].vertical.total) == pytest.approx(float(rates[1]), rel=1e-4)
    assert float(MODES[name].line_rate) / 1e3 == pytest.approx(float(rates[2]), rel=1e-4)


def run(*command: str) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout
