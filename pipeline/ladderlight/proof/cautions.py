"""Where hardware or people can come to harm: what the sheets and pages say, by what a board is built from."""

from __future__ import annotations

from ladderlight.board import Board


def cautions(board: Board) -> list[str]:
    """List the cautions that concern a board's parts and its monitor, one sentence or two each."""
    kinds = {memory.part.erasure for memory in board.memories}
    found = ["The parts' datasheets, the monitor's manual and local safety rules come before anything written here."]
    if kinds & {"ultraviolet", "unknown"}:
        found.append(
            "Programming voltages run from 12.5 V to 25 V by part and maker, and the wrong one destroys the chip: "
            "check the marking on the chip itself before choosing the part in the programmer."
        )
    if "ultraviolet" in kinds:
        found.append(
            "The short-wave ultraviolet light of an eraser harms eyes and skin: keep its lid shut, never look into it."
        )
    found += [
        "Static discharge ruins chips: work on an earthed mat, touch the case before the pins.",
        "Never put a chip into its socket or take it out while the board has power; mind pin 1.",
        "A line rate that a tube monitor is not made for can damage it: compare the rates with its manual first.",
        "The picture signal must be dark during blanking.",
        "A tube monitor holds lethal voltages even when unplugged: leave it closed.",
    ]
    return found
