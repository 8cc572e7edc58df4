"""Monitor modes.

Source: VESA Display Monitor Timings (DMT); 720x400@70 is the older industry-standard text mode, which DMT listings give
with other numbers. The borders of 8 that DMT gives the modes 640x480@60 and @72 count as porch here.
"""

from dataclasses import dataclass
from fractions import Fraction

TOLERANCE = 0.005
"""Allowed deviation of a mode's dot clock: DMT's general 0.5 % (from memory)."""


@dataclass(frozen=True, kw_only=True)
class Axis:
    """One direction of a mode, in monitor pixels or in lines."""

    active: int
    front_porch: int
    sync: int
    back_porch: int
    positive: bool
    """Polarity of the sync pulse."""

    @property
    def total(self) -> int:
        """Active part and blanking together."""
        return self.active + self.front_porch + self.sync + self.back_porch


@dataclass(frozen=True, kw_only=True)
class Mode:
    """A monitor mode: dot clock in hertz, both directions, and the proportions of the screen that shows it."""

    name: str
    dot_clock: Fraction
    horizontal: Axis
    vertical: Axis
    screen_aspect: Fraction = Fraction(4, 3)

    @property
    def line_rate(self) -> Fraction:
        """Lines a second."""
        return self.dot_clock / self.horizontal.total

    @property
    def frame_rate(self) -> Fraction:
        """Frames a second."""
        return self.line_rate / self.vertical.total

    @property
    def dot_aspect(self) -> Fraction:
        """Width over height of one monitor pixel."""
        return self.screen_aspect * self.vertical.active / self.horizontal.active


def _mode(name: str, mhz: str, horizontal: str, vertical: str, polarity: str) -> Mode:
    axes = []
    for text, sign in zip((horizontal, vertical), polarity, strict=True):
        active, front, sync, back, total = map(int, text.split("/"))
        axis = Axis(active=active, front_porch=front, sync=sync, back_porch=back, positive=sign == "+")
        if axis.total != total:
            raise ValueError(f"{name}: {text} does not add up")
        axes.append(axis)
    return Mode(name=name, dot_clock=Fraction(mhz) * 1_000_000, horizontal=axes[0], vertical=axes[1])


MODES = {
    mode.name: mode
    for mode in (
        _mode("640x350@70", "25.175", "640/16/96/48/800", "350/37/2/60/449", "+-"),
        _mode("640x400@70", "25.175", "640/16/96/48/800", "400/12/2/35/449", "-+"),
        _mode("720x400@70", "28.322", "720/18/108/54/900", "400/12/2/35/449", "-+"),
        _mode("640x480@60", "25.175", "640/16/96/48/800", "480/10/2/33/525", "--"),
        _mode("640x480@72", "31.5", "640/24/40/128/832", "480/9/3/28/520", "--"),
        _mode("640x480@75", "31.5", "640/16/64/120/840", "480/1/3/16/500", "--"),
        _mode("800x600@56", "36", "800/24/72/128/1024", "600/1/2/22/625", "++"),
        _mode("800x600@60", "40", "800/40/128/88/1056", "600/1/4/23/628", "++"),
        _mode("800x600@72", "50", "800/56/120/64/1040", "600/37/6/23/666", "++"),
        _mode("800x600@75", "49.5", "800/16/80/160/1056", "600/1/3/21/625", "++"),
        _mode("1024x768@60", "65", "1024/24/136/160/1344", "768/3/6/29/806", "--"),
    )
}
