"""A channel's levels against equal steps, and how far the resistors' tolerance can move them."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from ladderlight.board.ladders.analysis import ChannelAnalysis, Level
from ladderlight.board.ladders.tolerance import WHITE_HIGH, WHITE_LOW
from ladderlight.proof.plots.drawing import AMBER, INK, QUIET, RULE, WASH, WIDTH, dot, drawing, line, rectangle, text

_LEFT, _RIGHT, _TOP = 52.0, 12.0, 34.0
_LEVELS, _GAP, _ERRORS = 220.0, 30.0, 96.0
_FEW = 16

Place = Callable[[float], float]


def ladder_plot(channel: ChannelAnalysis, *, peak: float = 0.7) -> str:
    """Plot a channel: above its levels in volts, below their distance from equal steps in millivolts.

    A grey step is the ideal level, a dot the level. The thin bar is the worst case of the tolerance, the thick one
    where nine in ten ladders are.
    """
    plot = _Plot(channel, peak)
    worst = channel.max_error * 1e3
    label = (
        f"Levels of {channel.name}: {len(channel.levels)} codes from {channel.black:.3f} to {channel.white:.3f} V, "
        f"at most {worst:.1f} mV from equal steps"
    )
    height = _TOP + _LEVELS + _GAP + _ERRORS + 36
    return drawing(height, label, [*plot.heading(), *plot.levels(), *plot.errors(), *plot.codes(height - 10)])


class _Plot:
    """Scales of one plot."""

    def __init__(self, channel: ChannelAnalysis, peak: float) -> None:
        self.channel, self.peak = channel, peak
        self.step = (WIDTH - _LEFT - _RIGHT) / len(channel.levels)
        self.top = max(WHITE_HIGH, peak, *(level.highest for level in channel.levels)) * 1.06
        ends = [abs(end - level.ideal) for level in channel.levels for end in (level.lowest, level.highest)]
        self.widest = max(*ends, channel.max_error, 1e-4) * 1.1
        self.middle = _TOP + _LEVELS + _GAP + _ERRORS / 2

    def x(self, code: int) -> float:
        return _LEFT + (code + 0.5) * self.step

    def volts(self, volts: float) -> float:
        return _TOP + _LEVELS * (1 - volts / self.top)

    def error(self, volts: float) -> float:
        return self.middle - volts / self.widest * _ERRORS / 2

    def colour(self, level: Level) -> str:
        return "#" + "".join(f"{level.srgb if gun in self.channel.guns else 0:02x}" for gun in range(3))

    def heading(self) -> Iterator[str]:
        channel = self.channel
        yield text(0, 16, channel.name, size=14, bold=True)
        spread = channel.spread
        words = f"worst error {channel.max_error * 1e3:.1f} mV, white {channel.white:.3f} V"
        if spread:
            words += f"; thin bar: worst case, thick bar: 90 % of {spread.samples} drawn ladders"
        yield text(WIDTH - _RIGHT, 16, words, anchor="end", fill=QUIET)

    def levels(self) -> Iterator[str]:
        right = WIDTH - _RIGHT
        yield rectangle(
            _LEFT, self.volts(WHITE_HIGH), right - _LEFT, self.volts(WHITE_LOW) - self.volts(WHITE_HIGH), fill=WASH
        )
        yield text(_LEFT + 6, self.volts(WHITE_LOW) + 12, "white of the video signal standard", size=11, fill=QUIET)
        tenths = range(int(self.top * 10) + 1)
        for tenth in tenths if len(tenths) <= 12 else range(0, len(tenths), 5):
            y = self.volts(tenth / 10)
            yield line(_LEFT, y, right, y, stroke=RULE)
            yield text(_LEFT - 8, y + 4, f"{tenth / 10:.1f} V", anchor="end", size=11, fill=QUIET)
        yield line(_LEFT, self.volts(self.peak), right, self.volts(self.peak), stroke=AMBER, dash="4 3")
        few = len(self.channel.levels) <= _FEW
        for level in self.channel.levels:
            x = self.x(level.code)
            y = self.volts(level.ideal)
            yield line(x - self.step * 0.42, y, x + self.step * 0.42, y, stroke=QUIET, width=2)
            yield from self._bars(level, self.volts, 0.0)
            yield dot(x, self.volts(level.volts), 4.5 if few else 2.5, fill=self.colour(level), title=_title(level))
            if few:
                yield text(x, self._beside(level), f"{level.volts:.3f}", anchor="middle", size=11)

    def _beside(self, level: Level) -> float:
        """Find a place for a level's figure: on the side of its dot where the ideal step is not."""
        if level.volts < level.ideal:
            return max(self.volts(level.lowest), self.volts(level.volts) + 5) + 11
        return min(self.volts(level.highest), self.volts(level.volts) - 5) - 4

    def errors(self) -> Iterator[str]:
        right = WIDTH - _RIGHT
        few = len(self.channel.levels) <= _FEW
        for volts in (-self.widest / 1.1, 0.0, self.widest / 1.1):
            y = self.error(volts)
            yield line(_LEFT, y, right, y, stroke=QUIET if volts == 0 else RULE)
            words = "0 mV" if volts == 0 else f"{volts * 1e3:+.1f}"
            yield text(_LEFT - 8, y + 4, words, anchor="end", size=11, fill=QUIET)
        for level in self.channel.levels:
            x = self.x(level.code)
            yield from self._bars(level, self.error, level.ideal)
            yield line(x, self.error(0), x, self.error(level.error), width=2)
            yield dot(x, self.error(level.error), 4 if few else 2.5, fill=self.colour(level), title=_title(level))

    def _bars(self, level: Level, place: Place, zero: float) -> Iterator[str]:
        x = self.x(level.code)
        if level.highest > level.lowest:
            yield line(x, place(level.lowest - zero), x, place(level.highest - zero), stroke=INK)
        spread = self.channel.spread
        if spread and spread.high[level.code] > spread.low[level.code]:
            low, high = place(spread.low[level.code] - zero), place(spread.high[level.code] - zero)
            width = min(9.0, self.step * 0.5)
            yield rectangle(x - width / 2, high, width, low - high, fill=QUIET, opacity=0.35)

    def codes(self, y: float) -> Iterator[str]:
        count = len(self.channel.levels)
        every = 1 if count <= 32 else count // 16
        for code in range(0, count, every):
            yield text(self.x(code), y, f"{code}", anchor="middle", size=11, fill=QUIET)
        yield text(_LEFT - 8, y, "code", anchor="end", size=11, fill=QUIET)


def _title(level: Level) -> str:
    words = f"code {level.code}: {level.volts:.4f} V, {level.error * 1e3:+.2f} mV from the ideal"
    if level.highest > level.lowest:
        words += f"; {level.lowest:.4f} to {level.highest:.4f} V over the tolerance"
    return words
