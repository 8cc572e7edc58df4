"""Pictures out of chips that were read back."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path, PurePath

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ladderlight.board import Board, Device
from ladderlight.devices.files import read_device_file
from ladderlight.errors import DeviceFileError
from ladderlight.pictures import ByteOrder
from ladderlight.screen import picture_codes

Words = NDArray[np.uint32]
_MOST_INDEXED = 256
_MOST_BANKS = 256


def coded_png(codes: NDArray[np.integer], board: Board) -> bytes:
    """Write codes, shape (height, width), as a PNG in the colours that the monitor shows.

    With up to 256 codes it is an indexed picture whose pixel values are the codes and whose palette is the board's
    (W3C PNG, ISO/IEC 15948: at most 256 entries); with more it has plain colours.
    """
    if len(board.palette) <= _MOST_INDEXED:
        picture = Image.frombytes("P", codes.shape[::-1], codes.astype(np.uint8).tobytes())
        picture.putpalette(board.palette.srgb8.tobytes())
    else:
        picture = Image.fromarray(board.palette.srgb8[codes])
    file = io.BytesIO()
    picture.save(file, format="PNG")
    return file.getvalue()


def decode(board: Board, words: Mapping[str, Words]) -> Iterator[tuple[int, bytes]]:
    """Yield every bank's number and its picture as a PNG.

    Raises
    ------
    DeviceFileError
        When the wiring has more than 256 banks.
    """
    if board.bank_count > _MOST_BANKS:
        raise DeviceFileError(f"the board has {board.bank_count} banks; {_MOST_BANKS} is the most that can be decoded")
    for bank in range(board.bank_count):
        yield bank, coded_png(picture_codes(board, words, bank), board)


def read_dumps(paths: Sequence[Path]) -> list[tuple[str, bytes]]:
    """Read files that were read out of chips: name and content of each.

    Raises
    ------
    DeviceFileError
        When one cannot be read.
    """
    dumps = []
    for path in paths:
        try:
            dumps.append((str(path), path.read_bytes()))
        except OSError as error:
            raise DeviceFileError(f"{path}: cannot be read ({error.strerror}); check the name") from error
    return dumps


def memories_of_dumps(
    board: Board, dumps: Sequence[tuple[str, bytes]], order: ByteOrder = "little"
) -> dict[str, NDArray[np.uint32]]:
    """Put the memories' words together from one dump for each device.

    A dump belongs to the device that its file is named after; when none is, they go by the order of the devices.

    Parameters
    ----------
    board
        The board.
    dumps
        File names with what the files hold.
    order
        Byte order of words wider than 8 bits.

    Raises
    ------
    DeviceFileError
        When a dump is damaged, or there is not exactly one for each device.
    """
    held = {
        device.name: read_device_file(name, data, device, order)
        for device, (name, data) in _assigned(board.devices, dumps)
    }
    return {memory.name: np.concatenate([held[device.name] for device in memory.devices]) for memory in board.memories}


def _assigned(devices: Sequence[Device], dumps: Sequence[tuple[str, bytes]]) -> list[tuple[Device, tuple[str, bytes]]]:
    names = ", ".join(device.name for device in devices)
    if len(dumps) != len(devices):
        raise DeviceFileError(f"{len(dumps)} dumps for {len(devices)} devices; give one for each of {names}")
    by_name: dict[str, tuple[str, bytes]] = {PurePath(dump[0]).stem: dump for dump in dumps}
    named = [device for device in devices if device.name in by_name]
    if len(named) == len(devices):
        return [(device, by_name[device.name]) for device in devices]
    if named:
        missing = ", ".join(device.name for device in devices if device.name not in by_name)
        raise DeviceFileError(
            f"no dump is named after device {missing}; name all files after their devices, or none of them"
        )
    return list(zip(devices, dumps, strict=True))
