"""Pictures out of chips that were read back."""

from collections.abc import Iterator

from ladderlight.board import Board
from ladderlight.errors import DeviceFileError
from ladderlight.flow.png import coded_png
from ladderlight.proof.scanout import picture_codes
from ladderlight.units.arrays import MemoryWords

_MOST_BANKS = 256


def decode(board: Board, words: MemoryWords) -> Iterator[tuple[int, bytes]]:
    """Yield every bank's number and its picture as a PNG.

    Raises DeviceFileError when the wiring has more than 256 banks.
    """
    if board.bank_count > _MOST_BANKS:
        raise DeviceFileError(f"the board has {board.bank_count} banks; {_MOST_BANKS} is the most that can be decoded")
    for bank in range(board.bank_count):
        yield bank, coded_png(picture_codes(board, words, bank), board)
