"""Pin-outs of the memory parts in dual in-line packages: ``/`` is active low; of two jobs that for reading is first."""

from ladderlight.board import PARTS, Part
from ladderlight.system.frozen import Frozen

NOT_CONNECTED = "NC"

_OUTPUTS = "D0 D1 D2 GND D3 D4 D5 D6 D7"
_LOWER = f"A7 A6 A5 A4 A3 A2 A1 A0 {_OUTPUTS} /CE A10 /OE"
_PACKAGES = {
    "DIP-24": f"{_LOWER} VPP A9 A8 VCC",
    "DIP-28": f"VPP A12 {_LOWER} A11 A9 A8 A13 /PGM VCC",
    "DIP-32": f"VPP A16 A15 A12 {_LOWER} A11 A9 A8 A13 A14 A17 /PGM VCC",
    "DIP-40": "VPP /CE D15 D14 D13 D12 D11 D10 D9 D8 GND D7 D6 D5 D4 D3 D2 D1 D0 /OE "
    "A0 A1 A2 A3 A4 A5 A6 A7 A8 GND A9 A10 A11 A12 A13 A14 A15 A16 /PGM VCC",
}
"""Names in pin order, of the part of each package that the others are told from by the tables below."""

_CHECKED = {
    "2764": "26=NC",
    "27128": "",
    "27C256": "27=A14",
    "27C512": "1=A15 22=/OE/VPP 27=A14",
    "27C010": "30=NC",
    "27C020": "",
    "27C040": "31=A18",
    "27C080": "1=A19 24=/OE/VPP 31=A18",
    "28C256": "1=A14 27=/WE",
    "39SF010A": "1=NC 30=NC 31=/WE",
    "39SF020A": "1=NC 31=/WE",
    "39SF040": "1=A18 31=/WE",
}
"""Where a part departs from its package. The symbols of Debian's kicad-symbols have these; a test compares them."""

_FROM_MEMORY = {
    "2716": "",
    "2732": "20=/OE/VPP 21=A11",
    "28C16": "21=/WE",
    "28C64": "1=NC 26=NC 27=/WE",
    "28C010": "1=NC 30=NC 31=/WE",
    "29F010": "1=NC 30=NC 31=/WE",
    "29F040": "1=A18 31=/WE",
    "27C1024": "38=NC",
    "27C4002": "38=A16 39=A17",
}
"""The same of parts that no open library at hand has: from memory; the datasheet rules."""


class Pinout(Frozen):
    """The names of a part's pins, pin 1 first; ``checked`` where an open library of symbols agrees."""

    names: tuple[str, ...]
    checked: bool


def pinout_of(part: Part) -> Pinout | None:
    """Return a part's pin-out; None for a part that a recipe describes by words and width."""
    if PARTS.get(part.number) != part:
        return None
    names = _PACKAGES[part.package].split()
    for change in (_CHECKED | _FROM_MEMORY)[part.number].split():
        number, _, name = change.partition("=")
        names[int(number) - 1] = name
    return Pinout(names=tuple(names), checked=part.number in _CHECKED)
