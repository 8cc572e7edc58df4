"""The main figures of a board."""

from __future__ import annotations

from ladderlight.board import Board
from ladderlight.units.words import counted


def facts_of(board: Board) -> list[tuple[str, str, str]]:
    """Return the main figures of a board: name, figure, detail."""
    raster, geometry, palette = board.raster, board.geometry, board.palette
    colours = len({palette.hex_of(code) for code in range(len(palette))})
    repeat = f"{counted(geometry.repeat_x, 'count')} by {counted(geometry.repeat_y, 'line')}"
    per_pixel = f"{float(raster.ratio):.6g} count{'s' * (raster.ratio != 1)} per monitor pixel"
    return [
        ("Picture", f"{geometry.width} × {geometry.height}", f"each pixel {repeat}"),
        ("Pixel aspect", f"{geometry.pixel_aspect:.3g}", "width over height on the screen"),
        ("Colours", f"{colours:,}", f"{len(palette):,} codes on {len(palette.lines)} lines"),
        ("Mode", raster.mode.name, f"{float(raster.line_rate) / 1e3:.3f} kHz, {float(raster.frame_rate):.2f} Hz"),
        ("Clock", f"{float(raster.clock) / 1e6:.6g} MHz", per_pixel),
        ("Banks", f"{board.bank_count}", f"blanking: {board.blanking}"),
    ]
