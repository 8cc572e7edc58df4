"""Plots of a board as inline SVG: text for a page, readable on screen and when printed."""

from ladderlight.proof.plots.board import plots_of
from ladderlight.proof.plots.ladders import alike, ladder_plot
from ladderlight.proof.plots.palettes import palette_plot
from ladderlight.proof.plots.raster import frame_plot, scan_line_plot
from ladderlight.proof.plots.timings import timing_plot

__all__ = ["alike", "frame_plot", "ladder_plot", "palette_plot", "plots_of", "scan_line_plot", "timing_plot"]
