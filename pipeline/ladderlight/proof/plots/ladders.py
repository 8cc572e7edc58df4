"""Levels of channels against equal steps, and how far the resistors' tolerance can move them."""

from collections.abc import Callable, Iterator, Sequence

from ladderlight.board.ladders.analysis import ChannelAnalysis, Level
from ladderlight.board.ladders.tolerance import WHITE_HIGH, WHITE_LOW
from ladderlight.proof.plots import drawing as svg
from ladderlight.units.words import joined

_LEFT, _TOP = 44.0, 56.0
_LEVELS, _GAP, _ERRORS = 170.0, 34.0, 84.0
_FEW = 8
_DIGITS = 9  # decimals of a volt to which channels are alike

Place = Callable[[float], float]


def alike(channels: Sequence[ChannelAnalysis]) -> list[tuple[ChannelAnalysis, ...]]:
    """Put channels of the same levels and limits together, in their order."""
    found: dict[tuple[object, ...], list[ChannelAnalysis]] = {}
    for channel in channels:
        levels = [
            tuple(round(volts, _DIGITS) for volts in (level.volts, level.lowest, level.highest))
            for level in channel.levels
        ]
        found.setdefault((*levels, round(channel.white, _DIGITS)), []).append(channel)
    return [tuple(group) for group in found.values()]


def ladder_plot(channels: Sequence[ChannelAnalysis], *, peak: float = 0.7) -> str:
    """Plot channels that are alike: above their levels in volts, below the distance from equal steps in millivolts.

    A short step is the ideal level, a dot the level. The thin bar is the worst case of the tolerance, the wide one
    where nine in ten ladders are.
    """
    channel = channels[0]
    names = joined([channel.name for channel in channels])
    plot = _Plot(channel, {gun for channel in channels for gun in channel.guns}, peak)
    worst = channel.max_error * 1e3
    verdict = f"worst error {worst:.1f} mV, white {channel.white:.3f} V"
    if not channel.monotonic:
        verdict += ", not monotonic"
    title = f"{names[0].upper()}{names[1:]}: {len(channel.levels)} levels"
    label = (
        f"Levels of {names}: {len(channel.levels)} codes from {channel.black:.3f} to {channel.white:.3f} V, "
        f"at most {worst:.1f} mV from equal steps"
    )
    warn = not (channel.monotonic and channel.white_within)
    height = plot.bottom + (58 if plot.few else 30)
    parts = [*svg.heading(title, verdict, warn=warn), *plot.levels(), *plot.errors(), *plot.codes()]
    return svg.drawing(height, label, parts)


class _Plot:
    def __init__(self, channel: ChannelAnalysis, guns: set[int], peak: float) -> None:
        self.channel, self.guns, self.peak = channel, guns, peak
        self.few = len(channel.levels) <= _FEW
        self.step = (svg.WIDTH - _LEFT) / len(channel.levels)
        self.top = max(WHITE_HIGH, peak, *(level.highest for level in channel.levels)) * 1.04
        ends = [abs(end - level.ideal) for level in channel.levels for end in (level.lowest, level.highest)]
        self.widest = max(*ends, channel.max_error, 1e-4) * 1.05
        self.middle = _TOP + _LEVELS + _GAP + _ERRORS / 2
        self.bottom = self.middle + _ERRORS / 2

    def x(self, code: int) -> float:
        return _LEFT + (code + 0.5) * self.step

    def volts(self, volts: float) -> float:
        return _TOP + _LEVELS * (1 - volts / self.top)

    def error(self, volts: float) -> float:
        return self.middle - volts / self.widest * _ERRORS / 2

    def colour(self, level: Level) -> str:
        return "#" + "".join(f"{level.srgb if gun in self.guns else 0:02x}" for gun in range(3))

    def levels(self) -> Iterator[str]:
        high, low = self.volts(WHITE_HIGH), self.volts(WHITE_LOW)
        title = f"white of the video signal standard, {WHITE_LOW:.3f} to {WHITE_HIGH:.3f} V"
        yield svg.rectangle(_LEFT, high, svg.WIDTH - _LEFT, low - high, fill=svg.LINE, opacity=0.5, title=title)
        yield svg.text(0, _TOP - 10, "level at the monitor, V", fill=svg.MUTED)
        step = svg.round_step(self.top, 9)
        for tick in range(int(self.top / step) + 1):
            y = self.volts(tick * step)
            yield svg.line(_LEFT, y, svg.WIDTH, y, stroke=svg.LINE)
            yield svg.text(_LEFT - 6, y + 4, f"{tick * step:.1f}", anchor="end", fill=svg.MUTED)
        peak = self.volts(self.peak)
        yield svg.line(_LEFT, peak, svg.WIDTH, peak, stroke=svg.ACCENT, width=1.5, dash="4 3")
        for level in self.channel.levels:
            x, y = self.x(level.code), self.volts(level.ideal)
            yield svg.line(x - self.step * 0.42, y, x + self.step * 0.42, y, stroke=svg.MUTED, width=2)
            yield from self._bars(level, self.volts, 0.0)
            yield self._dot(level, self.volts(level.volts))

    def errors(self) -> Iterator[str]:
        yield svg.text(0, self.middle - _ERRORS / 2 - 10, "level minus equal steps, mV", fill=svg.MUTED)
        step = svg.round_step(self.widest, 2)
        most = int(self.widest / step)
        for tick in range(-most, most + 1):
            y = self.error(tick * step)
            yield svg.line(_LEFT, y, svg.WIDTH, y, stroke=svg.MUTED if tick == 0 else svg.LINE)
            words = f"{tick * step * 1e3:+g}" if tick else "0"
            yield svg.text(_LEFT - 6, y + 4, words, anchor="end", fill=svg.MUTED)
        for level in self.channel.levels:
            x = self.x(level.code)
            yield from self._bars(level, self.error, level.ideal)
            yield svg.line(x, self.error(0), x, self.error(level.error), width=2)
            yield self._dot(level, self.error(level.error))

    def _dot(self, level: Level, y: float) -> str:
        return svg.dot(self.x(level.code), y, 4.5 if self.few else 2.5, fill=self.colour(level), title=_title(level))

    def _bars(self, level: Level, place: Place, zero: float) -> Iterator[str]:
        x = self.x(level.code)
        if level.highest > level.lowest:
            yield svg.line(x, place(level.lowest - zero), x, place(level.highest - zero), stroke=svg.INK)
        spread = self.channel.spread
        if spread and spread.high[level.code] > spread.low[level.code]:
            low, high = place(spread.low[level.code] - zero), place(spread.high[level.code] - zero)
            width = min(9.0, self.step * 0.5)
            yield svg.rectangle(x - width / 2, high, width, low - high, fill=svg.MUTED, opacity=0.45)

    def codes(self) -> Iterator[str]:
        """Write the codes below, and with few of them their volts and errors, where no line of the plot is."""
        count = len(self.channel.levels)
        every = max(1, count // _FEW)
        y = self.bottom + 16
        yield svg.text(0, y, "code", fill=svg.MUTED)
        for code in range(0, count, every):
            yield svg.text(self.x(code), y, f"{code}", anchor="middle", fill=svg.MUTED)
        if not self.few:
            return
        for row, unit in enumerate(("V", "mV"), start=1):
            yield svg.text(0, y + row * 14, unit, fill=svg.MUTED)
            for level in self.channel.levels:
                millivolts = round(level.error * 1e3, 1)
                words = f"{level.volts:.3f}" if unit == "V" else f"{millivolts:+.1f}" if millivolts else "0.0"
                yield svg.text(self.x(level.code), y + row * 14, words, anchor="middle")


def _title(level: Level) -> str:
    words = f"code {level.code}: {level.volts:.4f} V, {level.error * 1e3:+.2f} mV from the ideal"
    if level.highest > level.lowest:
        words += f"; {level.lowest:.4f} to {level.highest:.4f} V over the tolerance"
    return words
