"""Boards and chains of small recipes, as TOML."""

from __future__ import annotations

GREY = """\
[board]
mode = "640x480@60"
clock = "25.175 MHz"
blanking = "gate"

[[board.memory]]
name = "picture"
part = "2716"
address = ["x6-x9", "y5-y8"]
data = ["k"]

[board.ladder]
supply = "5 V"
grey = { k = "470" }
"""
"""10 by 15 pixels in black and white, one bank."""

FOUR_BANKS = GREY.replace('"y5-y8"]', '"y5-y8", "bank0-bank1"]')
"""The same with four banks."""

COLOURS = """\
[board]
mode = "640x480@60"
clock = "25.175 MHz"
blanking = "gate"

[[board.memory]]
name = "picture"
part = "27C512"
address = ["x5-x9", "y5-y8", "bank0-bank3"]
data = ["b0", "g0", "r0"]

[board.ladder]
supply = "5 V"
red = { r0 = "470" }
green = { g0 = "470" }
blue = { b0 = "470" }
"""
"""20 by 15 pixels in eight colours, 16 banks."""


def in_file(board: str) -> str:
    """The same board as a file of its own."""
    return board.removeprefix("[board]\n").replace("board.", "")


def chain(*stages: str) -> str:
    """The tables of stages with their defaults."""
    return "".join(f'\n[[stage]]\nuse = "{stage}"\n' for stage in stages)
