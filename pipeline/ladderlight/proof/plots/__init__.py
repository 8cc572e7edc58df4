"""Plots of a board as inline SVG: text for a page, readable on screen and when printed."""

from ladderlight.proof.plots.ladders import ladder_plot
from ladderlight.proof.plots.palettes import palette_plot
from ladderlight.proof.plots.scanline import scan_line_plot
from ladderlight.proof.plots.timings import timing_plot

__all__ = ["ladder_plot", "palette_plot", "scan_line_plot", "timing_plot"]
