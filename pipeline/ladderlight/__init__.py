"""Ladderlight prepares pictures for boards of counters, memories and resistor ladders.

The names here are the public contract for stages: ``from ladderlight import Board, Picture, stage``. They are loaded
on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ladderlight.board import Board, Device, Palette
    from ladderlight.colour.viewing import Viewing
    from ladderlight.devices.files import Piece, pieces, planned_pieces
    from ladderlight.errors import ArrangementError, DeviceFileError, PictureError, Problem, nearest_word
    from ladderlight.flow.images import coded_png
    from ladderlight.flow.pictures import (
        WHOLE,
        Animation,
        Box,
        CodedPicture,
        Contents,
        DeviceFile,
        FilePart,
        MemoryContents,
        Origin,
        Picture,
        PlacedPicture,
        Span,
        TileSet,
        file_name,
        matching,
    )
    from ladderlight.stages.contract import Demand, Example, Kept, Option, Probe, Survey, refuse, stage
    from ladderlight.stages.registry import hookimpl
    from ladderlight.system.frozen import Frozen
    from ladderlight.units.parsing import MisfitError

__version__ = "0.1.0"

_HOMES = {
    "ladderlight.board": "Board Device Palette",
    "ladderlight.colour.viewing": "Viewing",
    "ladderlight.devices.files": "Piece pieces planned_pieces",
    "ladderlight.errors": "ArrangementError DeviceFileError PictureError Problem nearest_word",
    "ladderlight.flow.images": "coded_png",
    "ladderlight.flow.pictures": "WHOLE Animation Box CodedPicture Contents DeviceFile FilePart MemoryContents Origin "
    "Picture PlacedPicture Span TileSet file_name matching",
    "ladderlight.stages.contract": "Demand Example Kept Option Probe Survey refuse stage",
    "ladderlight.stages.registry": "hookimpl",
    "ladderlight.system.frozen": "Frozen",
    "ladderlight.units.parsing": "MisfitError",
}
_MODULE_OF = {name: module for module, names in _HOMES.items() for name in names.split()}

__all__ = [
    "WHOLE",
    "Animation",
    "ArrangementError",
    "Board",
    "Box",
    "CodedPicture",
    "Contents",
    "Demand",
    "Device",
    "DeviceFile",
    "DeviceFileError",
    "Example",
    "FilePart",
    "Frozen",
    "Kept",
    "MemoryContents",
    "MisfitError",
    "Option",
    "Origin",
    "Palette",
    "Picture",
    "PictureError",
    "Piece",
    "PlacedPicture",
    "Probe",
    "Problem",
    "Span",
    "Survey",
    "TileSet",
    "Viewing",
    "__version__",
    "coded_png",
    "file_name",
    "hookimpl",
    "matching",
    "nearest_word",
    "pieces",
    "planned_pieces",
    "refuse",
    "stage",
]


def __getattr__(name: str) -> Any:
    try:
        module = _MODULE_OF[name]
    except KeyError:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}") from None
    return getattr(import_module(module), name)


def __dir__() -> list[str]:
    return __all__
