"""The banks' pictures as indexed PNG files, whose pixel values are codes.

PNG: W3C Recommendation, ISO/IEC 15948. An indexed picture has at most 256 colours.
"""

from collections.abc import Iterator, Mapping
from typing import Annotated, Any

from ladderlight import Board, Contents, DeviceFile, DeviceFileError, Option, Problem, coded_png, refuse, stage
from ladderlight.board.scanning.scan import scan

_MOST = 256


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:  # noqa: ARG001 - as rules are called
    if len(board.palette) > _MOST:
        what = f"an indexed PNG holds {_MOST} colours, but the board has {len(board.palette)}"
        yield Problem(where=(), what=what, action="leave indexed_png out")


@stage(help="Write each bank's picture as an indexed PNG whose pixel values are the codes.", rule=_problems)
def indexed_png(
    contents: Contents,
    board: Board,
    *,
    name: Annotated[str, Option("file name", fields=("bank", "project"))] = "bank{bank}.png",
) -> list[DeviceFile]:
    """Return the codes of each bank that holds a picture, with the colours that the monitor shows.

    The files are for viewing and for other programs; no device is programmed with them.

    Raises DeviceFileError when the board has more than 256 codes, or the name is the same for several banks.
    """
    refuse(_problems(board, {}), DeviceFileError)
    banks = sorted({placed.bank for placed in contents.pictures}) or [0]
    if len(banks) > 1 and "{bank}" not in name:
        raise DeviceFileError(f"file name {name!r} is the same for every bank; put {{bank}} into it")
    device = board.driving_memories[0].devices[0].name
    words = {memory: held.words for memory, held in contents.memories.items()}
    files = []
    for bank in banks:
        codes = scan(board, words, board.x_grid.samples[None, :], board.y_grid.samples[:, None], bank).codes
        data = coded_png(codes, board)
        files.append(DeviceFile(device=device, name=name.replace("{bank}", str(bank)), data=data, span=None))
    return files
