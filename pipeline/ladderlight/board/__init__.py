"""Pure arithmetic of a board: raster, wiring, memories, ladders, timing. No pictures, no files."""

from ladderlight.board.board import Blanking, Board, Counters, Geometry
from ladderlight.board.findings import Finding
from ladderlight.board.ladder import Channel, Ladder
from ladderlight.board.memory import PARTS, Device, Memory, Packing, Part
from ladderlight.board.modes import MODES, Axis, Mode
from ladderlight.board.palette import Lattice, Palette, linear_from_srgb, srgb_from_linear
from ladderlight.board.placement import Conflict, Placement
from ladderlight.board.raster import Raster

__all__ = [
    "MODES",
    "PARTS",
    "Axis",
    "Blanking",
    "Board",
    "Channel",
    "Conflict",
    "Counters",
    "Device",
    "Finding",
    "Geometry",
    "Ladder",
    "Lattice",
    "Memory",
    "Mode",
    "Packing",
    "Palette",
    "Part",
    "Placement",
    "Raster",
    "linear_from_srgb",
    "srgb_from_linear",
]
