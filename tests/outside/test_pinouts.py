"""The memories' pin-outs against an open library of symbols: Debian's ``kicad-symbols``.

The library names a control pin by what one of its makers calls it: ``CS`` for /CE, ``PGM`` for the /WE of a flash chip,
and ``OE`` for the pin that is /OE and VPP at once. It leaves out pins that are not connected.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from ladderlight.board import PARTS
from ladderlight.devices.pinouts import pinout_of

LIBRARY = Path("/usr/share/kicad/symbols")
SYMBOLS = {
    **{number: ("Memory_EPROM", number) for number in ("27C256", "27C512", "27C010", "27C020", "27C040", "27C080")},
    "2764": ("Memory_EPROM", "27C64"),
    "27128": ("Memory_EPROM", "27C128"),
    "28C256": ("Memory_EEPROM", "28C256"),
    "39SF010A": ("Memory_Flash", "SST39SF010"),
    "39SF020A": ("Memory_Flash", "SST39SF020"),
    "39SF040": ("Memory_Flash", "SST39SF040"),
}
CONTROL = {"CE": "/CE", "CS": "/CE", "OE": "/OE", "WE": "/WE", "PGM": "/PGM"}


def symbol(library: str, name: str) -> dict[int, str]:
    """Names of a symbol's pins by number, in our spelling."""
    file = LIBRARY / f"{library}.kicad_sym"
    if not file.exists():
        reason = f"{file} is missing (Debian kicad-symbols)"
        pytest.fail(reason) if os.environ.get("CI") == "true" else pytest.skip(reason)
    (body,) = re.findall(rf'\n  \(symbol "{name}" (.*?)(?=\n  \(symbol |\Z)', file.read_text(), re.DOTALL)
    pins = re.findall(r'\(pin \w+ \w+ .*?\(name "([^"]*)".*?\(number "(\d+)"', body, re.DOTALL)
    plain = {int(number): re.sub(r"~\{(\w+)\}", r"\1", found) for found, number in pins}
    return {number: CONTROL.get(found, found) for number, found in plain.items()}


@pytest.mark.parametrize("number", SYMBOLS)
def test_pins_are_those_of_the_symbol(number: str) -> None:
    published = symbol(*SYMBOLS[number])
    pinout = pinout_of(PARTS[number])
    assert pinout is not None
    assert pinout.checked
    for pin, name in enumerate(pinout.names, start=1):
        found = published.get(pin, "NC")
        if number.startswith("39SF") and name == "/WE":
            assert found == "/PGM"
        else:
            assert found == name.removesuffix("/VPP")
    assert max(published) == len(pinout.names)


def test_what_counts_as_checked_is_checked() -> None:
    pinouts = {number: pinout_of(part) for number, part in PARTS.items()}
    assert {number for number, pinout in pinouts.items() if pinout and pinout.checked} == set(SYMBOLS)


@pytest.mark.parametrize("number", PARTS)
def test_a_pinout_has_every_pin_of_its_part(number: str) -> None:
    part, pinout = PARTS[number], pinout_of(PARTS[number])
    assert pinout is not None
    wanted = {f"A{bit}" for bit in range(part.address_pins)} | {f"D{bit}" for bit in range(part.width)}
    assert {name for name in pinout.names if re.fullmatch(r"[AD]\d+", name)} == wanted
    assert len(pinout.names) == int(part.package.removeprefix("DIP-"))
    assert {"VCC", "GND", "/CE"} <= set(pinout.names)
    single = [name for name in pinout.names if name not in ("NC", "GND")]
    assert len(single) == len(set(single))
