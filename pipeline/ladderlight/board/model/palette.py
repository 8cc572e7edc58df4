"""Every code of a board with its voltages and the colour that the monitor shows."""

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ladderlight.board.model.ladder import Ladder
from ladderlight.colour.spaces import LUMINANCE
from ladderlight.system.frozen import Frozen
from ladderlight.system.value import Value
from ladderlight.units.arrays import Bytes, Floats

TUBE_GAMMA = 2.4
"""Exponent of ITU-R BT.1886."""


def linear_from_srgb(encoded: NDArray[np.floating]) -> Floats:
    """Decode sRGB values, 0 to 1, to linear light (IEC 61966-2-1)."""
    encoded = np.asarray(encoded, dtype=np.float64)
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def srgb_from_linear(linear: NDArray[np.floating]) -> Floats:
    """Encode linear light, 0 to 1, as sRGB values (IEC 61966-2-1)."""
    linear = np.asarray(linear, dtype=np.float64)
    power = 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, linear * 12.92, power)


def light_of(drive: NDArray[np.floating], ladder: Ladder) -> Floats:
    """Light that a ladder's monitor shows at a drive of 0 to 1, as a share of its white (ITU-R BT.1886, annex 1)."""
    if ladder.response == "srgb":
        return linear_from_srgb(drive)
    root = ladder.tube_black ** (1 / TUBE_GAMMA)
    return np.asarray(((1 - root) * np.asarray(drive, dtype=np.float64) + root) ** TUBE_GAMMA)


def srgb8_of(linear: NDArray[np.floating]) -> Bytes:
    """Encode linear light, 0 to 1, as 8-bit sRGB."""
    return np.rint(srgb_from_linear(linear) * 255).astype(np.uint8)


class Lattice(Frozen, eq=False):
    """A palette whose channels are independent: each gun's levels, and the code bits that choose among them.

    ``levels[gun]`` float64, linear light, ascending; ``codes[gun]`` uint16, the bits of each level. A colour's code is
    the sum of one entry per gun.
    """

    levels: tuple[Floats, Floats, Floats]
    codes: tuple[NDArray[np.uint16], NDArray[np.uint16], NDArray[np.uint16]]


class Palette(Value):
    """All codes of a board: bit i of a code is ladder line ``lines[i]``; ``volts`` float64 (codes, 3)."""

    lines: tuple[str, ...]
    volts: Floats
    peak: float
    ladder: Ladder

    def __len__(self) -> int:
        return len(self.volts)

    @cached_property
    def drive(self) -> Floats:
        """Share of full drive, float64 (codes, 3), 0 to 1; more than the peak voltage clips to white."""
        return np.clip(self.volts / self.peak, 0.0, 1.0)

    @cached_property
    def linear(self) -> Floats:
        """Colours in linear light, float64 (codes, 3), 0 to 1."""
        return light_of(self.drive, self.ladder)

    @cached_property
    def srgb8(self) -> Bytes:
        """Colours as 8-bit sRGB, uint8 (codes, 3): what an sRGB monitor needs to show the same light."""
        return srgb8_of(self.linear)

    def hex_of(self, code: int) -> str:
        """Return a code's colour as ``#rrggbb``."""
        return "#" + "".join(f"{value:02x}" for value in self.srgb8[code])

    @cached_property
    def black_code(self) -> int:
        """The darkest code: the one with the least light, the lowest of several."""
        return int(np.argmin(self.linear @ LUMINANCE))

    @cached_property
    def lattice(self) -> Lattice | None:
        """The channels' levels when no two guns share a line, otherwise None."""
        position = {line: bit for bit, line in enumerate(self.lines)}
        levels, codes, seen = [], [], 0
        for gun in range(3):
            channel = next((c for c in self.ladder.channels if gun in c.guns), None)
            bits = [position[line] for line in channel.lines] if channel else []
            mask = sum(1 << bit for bit in bits)
            if seen & mask:
                return None
            seen |= mask
            numbers = np.arange(1 << len(bits))
            code = np.zeros(len(numbers), dtype=np.uint16)
            for index, bit in enumerate(bits):
                code |= ((numbers >> index & 1) << bit).astype(np.uint16)
            order = np.argsort(self.linear[code, gun], kind="stable")
            levels.append(self.linear[code[order], gun])
            codes.append(code[order])
        return Lattice(levels=(levels[0], levels[1], levels[2]), codes=(codes[0], codes[1], codes[2]))


def palette_of(ladder: Ladder, lines: tuple[str, ...]) -> Palette:
    """Return the palette of a ladder whose lines form the codes in this order, least significant first."""
    codes = np.arange(1 << len(lines))
    levels = {line: codes >> bit & 1 for bit, line in enumerate(lines)}
    return Palette(lines=lines, volts=ladder.gun_volts(levels, len(codes)), peak=ladder.peak, ladder=ladder)
