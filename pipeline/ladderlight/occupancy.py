"""What stands where in a device: the banks with their pictures, the last used word, the words left over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ladderlight.board import Board, Device
from ladderlight.board.lines import Signal
from ladderlight.board.scan import addresses, is_direct
from ladderlight.pictures import Contents


@dataclass(frozen=True, kw_only=True)
class Bank:
    """A bank as far as one device holds it. Addresses count words from the device's first one.

    ``bank`` is the lowest of the banks that look alike to the memory: one without bank lines has only bank 0.
    """

    bank: int
    pictures: tuple[str, ...]
    first: int
    last: int


@dataclass(frozen=True, kw_only=True)
class Occupancy:
    """How full a device is. ``last_used`` is None when nothing reads it."""

    banks: tuple[Bank, ...]
    used: int
    last_used: int | None
    free: int


def occupancy_of(board: Board, contents: Contents, device: Device) -> Occupancy:
    """Say what stands in a device.

    A memory that another memory addresses has no banks of its own: its pictures stand in no one place.
    """
    written = contents.memories[device.memory].written[device.first_word : device.first_word + device.part.words]
    used = np.flatnonzero(written)
    return Occupancy(
        banks=tuple(_banks(board, contents, device)),
        used=int(used.size),
        last_used=int(used[-1]) if used.size else None,
        free=int(written.size - used.size),
    )


def _banks(board: Board, contents: Contents, device: Device) -> list[Bank]:
    memory = board.memory(device.memory)
    if not is_direct(board, memory):
        return []
    seen = sum({1 << line.index for line in board.address_lines(memory) if line.signal is Signal.BANK})
    pictures: dict[int, list[str]] = {}
    for placed in contents.pictures:
        pictures.setdefault(placed.bank & seen, []).append(placed.origin.name)
    found = []
    for bank, names in sorted(pictures.items()):
        place, _ = addresses(board, memory, board.x_grid.samples[None, :], board.y_grid.samples[:, None], bank)
        place = place - device.first_word
        held = place[(place >= 0) & (place < device.part.words)]
        if held.size:
            found.append(Bank(bank=bank, pictures=tuple(names), first=int(held.min()), last=int(held.max())))
    return found
