"""Pure arithmetic of a board: raster, wiring, memories, ladders, timing. No pictures, no files."""

from ladderlight.board.model.board import Blanking, Board, Counters, Geometry
from ladderlight.board.model.ladder import Channel, Ladder
from ladderlight.board.model.memory import PART_NAMES, PARTS, Device, Memory, Packing, Part
from ladderlight.board.model.palette import Lattice, Palette, linear_from_srgb, srgb_from_linear
from ladderlight.board.model.raster import MODES, Axis, Mode, Raster
from ladderlight.board.scanning.placement import Conflict, Placement
from ladderlight.errors import Finding

__all__ = [
    "MODES",
    "PARTS",
    "PART_NAMES",
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
