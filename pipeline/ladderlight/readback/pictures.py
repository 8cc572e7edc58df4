"""Pictures of chips that were read back: decoded, and with what differs on the screen marked."""

from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from ladderlight.board import Board, Device
from ladderlight.colour.spaces import LUMINANCE
from ladderlight.errors import DeviceFileError
from ladderlight.flow.images import coded_png, saved
from ladderlight.proof.scanout import picture_codes, render, screen_codes
from ladderlight.units.arrays import Bytes, MemoryWords

_MOST_BANKS = 256
MARK = (255, 0, 255)
"""Colour of what differs: on a grey picture nothing else has it."""
_GAP = 24


def decode(board: Board, words: MemoryWords) -> Iterator[tuple[int, bytes]]:
    """Yield every bank's number and its picture as a PNG. Raises DeviceFileError for more than 256 banks."""
    if board.bank_count > _MOST_BANKS:
        raise DeviceFileError(f"the board has {board.bank_count} banks; {_MOST_BANKS} is the most that can be decoded")
    for bank in range(board.bank_count):
        yield bank, coded_png(picture_codes(board, words, bank), board)


def with_device(words: MemoryWords, device: Device, found: NDArray[np.uint32]) -> dict[str, NDArray[np.uint32]]:
    """Put what one device holds in place of what it should among the words of all memories."""
    changed = {name: held.copy() for name, held in words.items()}
    changed[device.memory][device.first_word : device.first_word + device.part.words] = found
    return changed


def damage(board: Board, wanted: MemoryWords, found: MemoryWords, bank: int) -> Bytes:
    """Return a bank as found, dark grey, what differs marked: uint8 (active lines, active monitor pixels, 3), sRGB."""
    shown = render(board, found, bank).astype(np.float64)
    grey = shown @ LUMINANCE * 0.5
    picture = np.repeat(np.rint(grey).astype(np.uint8)[..., None], 3, axis=2)
    differs = screen_codes(board, wanted, bank) != screen_codes(board, found, bank)
    active = picture.shape[1]
    # A monitor pixel is marked when any count within it differs.
    edges = np.linspace(0, differs.shape[1], active + 1)
    first = np.floor(edges[:-1] + 1e-9).astype(np.int64)
    last = np.maximum(np.ceil(edges[1:] - 1e-9).astype(np.int64), first + 1)
    before = np.concatenate([np.zeros((len(differs), 1), dtype=np.int64), np.cumsum(differs, axis=1)], axis=1)
    picture[before[:, last] > before[:, first]] = MARK
    return picture


def damage_png(board: Board, wanted: MemoryWords, found: MemoryWords, banks: Iterable[int]) -> bytes:
    """Write the banks whose screens differ, one below the other, as a PNG; the first when none does."""
    banks = list(banks)
    differing = [
        bank for bank in banks if (screen_codes(board, wanted, bank) != screen_codes(board, found, bank)).any()
    ]
    screens = [(bank, damage(board, wanted, found, bank)) for bank in differing or banks[:1]]
    height, width = screens[0][1].shape[:2]
    sheet = Image.new("RGB", (width, len(screens) * (height + _GAP)), "white")
    draw = ImageDraw.Draw(sheet)
    for number, (bank, pixels) in enumerate(screens):
        top = number * (height + _GAP)
        draw.text((6, top + 6), f"bank {bank}", fill="black")
        sheet.paste(Image.fromarray(pixels), (0, top + _GAP))
    return saved(sheet)
