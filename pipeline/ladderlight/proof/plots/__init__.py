"""Plots of a board as inline SVG: text for a page, readable on screen and when printed."""

from functools import lru_cache
from typing import Any

from markupsafe import Markup

from ladderlight.board import Board
from ladderlight.board.ladders.analysis import analyse
from ladderlight.proof.plots.ladders import alike, ladder_plot
from ladderlight.proof.plots.raster import sync_plot
from ladderlight.proof.plots.timings import timing_plot
from ladderlight.units.words import joined


@lru_cache(maxsize=2)  # for the pages of all trays
def plots_of(board: Board) -> dict[str, Any]:
    """Return the plots of a board as markup: ``timing``, ``line``, ``frame``, and ``ladders``.

    Each of the ladders has its ``plot``, the ``names`` of the channels that are alike in it, and their ``levels``;
    ``tolerance`` is that of the resistors in words, empty for exact ones.
    """
    ladders = [
        {
            "plot": Markup(ladder_plot(channels, peak=board.ladder.peak)),  # noqa: S704 - words in plots are escaped
            "names": joined([channel.name for channel in channels]),
            "levels": channels[0].levels,
        }
        for channels in alike(analyse(board.ladder).channels)
    ]
    plots = {"timing": timing_plot(board), "line": sync_plot(board, "x"), "frame": sync_plot(board, "y")}
    tolerance = f"{board.ladder.tolerance * 100:g} %" if board.ladder.tolerance else ""
    return {name: Markup(plot) for name, plot in plots.items()} | {"ladders": ladders, "tolerance": tolerance}  # noqa: S704
