"""The device files of a recipe, before there is anything to put into them."""

from __future__ import annotations

from ladderlight.board import Memory
from ladderlight.board.scanning.sheets import blank_sheet
from ladderlight.engine.runner import Chain
from ladderlight.errors import StageFailure
from ladderlight.flow.pictures import Contents, DeviceFile, MemoryContents
from ladderlight.recipe import Recipe


def planned_files(recipe: Recipe) -> list[DeviceFile]:
    """Run the recipe's emission stages on empty memories: names and spans are those of a build.

    There are none when a stage of the project's own fails without pictures.

    Raises
    ------
    BuildError, DeviceFileError
        When the files cannot be written as asked.
    """
    memories = {memory.name: _empty(memory) for memory in recipe.board.memories}
    try:
        return Chain(recipe=recipe).emit(Contents(memories=memories))
    except StageFailure:
        return []


def _empty(memory: Memory) -> MemoryContents:
    sheet = blank_sheet(memory)
    return MemoryContents(words=sheet.words, written=sheet.written)
