"""Findings about the clock: whether it makes the line rate that the monitor expects, in whole counts."""

from collections.abc import Iterator

from ladderlight.board.advice.oscillators import fitting_sources
from ladderlight.board.model.board import Board
from ladderlight.board.model.findings import Finding
from ladderlight.board.model.modes import TOLERANCE
from ladderlight.board.model.raster import USABLE
from ladderlight.units.words import frequency, joined


def findings(board: Board) -> Iterator[Finding]:
    """Yield a finding when the clock does not fit the mode, with the oscillators that do."""
    raster = board.raster
    if raster.whole:
        return
    off = abs(raster.deviation)
    sources = [str(source) for source in fitting_sources(raster)]
    clocks = joined(sources or [frequency(clock) for clock in raster.fitting_clocks(3)], "or")
    rate = f"{frequency(raster.line_rate)} ({raster.deviation:+.2%} from {raster.mode.name})"
    visible = f"{raster.x.visible} visible"
    if raster.filling != raster.x.visible:
        visible += f" of the {float(raster.filling):.4g} that would fill the screen"
    counts = f"{raster.x.total} counts a line ({visible})"
    if off <= TOLERANCE:
        yield Finding.note(
            "clock",
            f"{frequency(raster.clock)} does not divide the mode's {frequency(raster.mode.dot_clock)} evenly, "
            f"but {counts} give {rate}, within tolerance; {clocks} would fit exactly",
        )
        return
    yield Finding(
        level="caution" if off <= USABLE else "error",
        where="clock",
        message=f"{frequency(raster.clock)} with {counts} gives a line rate of {rate}, which the monitor may not "
        f"follow and an unprotected tube monitor may be damaged by; use {clocks}, and see the monitor's manual for its "
        "limits",
    )
