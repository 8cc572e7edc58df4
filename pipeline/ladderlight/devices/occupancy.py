"""Occupancy of devices: banks with their pictures, the last used word, free words."""

from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board, Device, Memory
from ladderlight.board.model.lines import Signal
from ladderlight.board.scanning.scan import addresses_by_bank, is_direct
from ladderlight.devices.documents import BankDocument
from ladderlight.flow.pictures import Contents
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Flags, Ints, Words

_AT_ONCE = 1 << 16


class Occupancy(Frozen):
    """Occupancy of a device. ``last_used`` is None when nothing is written to it."""

    banks: tuple[BankDocument, ...]
    used: int
    last_used: int | None


def occupancies_of(board: Board, contents: Contents) -> dict[str, Occupancy]:
    """Return each device's occupancy by name; memories that others address, or of timing lines, have no banks."""
    found = {}
    for memory in board.memories:
        written = contents.memories[memory.name].written.reshape(memory.chips, -1)
        banks = _banks(board, contents, memory)
        for device, used in zip(memory.devices, written, strict=True):
            found[device.name] = Occupancy(
                banks=tuple(banks[device.index]), used=int(np.count_nonzero(used)), last_used=_last_used(used)
            )
    return found


def _last_used(written: Words) -> int | None:
    """Return the last word that has a written bit, looked for from the end without a copy of the memory."""
    for start in range((written.size - 1) // _AT_ONCE * _AT_ONCE, -1, -_AT_ONCE):
        if (used := np.flatnonzero(written[start : start + _AT_ONCE])).size:
            return start + int(used[-1])
    return None


def differing_by_bank(board: Board, device: Device, banks: Sequence[int], differs: Flags) -> list[int]:
    """Return how many bytes differ in each of some banks, by what their pixels read; ``differs`` by image byte."""
    if not banks:  # of a memory that another addresses there is no bank's place
        return []
    by_word = differs.reshape(device.part.words, -1)
    counts = by_word.sum(axis=1) if by_word.shape[1] > 1 else differs  # a sum over single bytes takes long
    reads = (_read(board, device, bank) for bank in banks)
    return [int(counts[first:][: read.size][read].sum()) for first, read in reads]


@lru_cache(maxsize=4)
def _places(board: Board, name: str) -> tuple[Callable[[int], Ints], Callable[[int], int], int]:
    x, y = board.x_grid.samples[None, :], board.y_grid.samples[:, None]
    of_all, of_first = (addresses_by_bank(board, board.memory(name), *at) for at in ((x, y), (x[0, 0], y[0, 0])))
    moving = int(np.bitwise_or.reduce(of_all(0)[0] ^ of_first(0)[0], axis=None))  # bits that tell pixels from the first
    return lambda bank: of_all(bank)[0], lambda bank: int(of_first(bank)[0]), moving


@lru_cache(maxsize=64)  # of banks: the same in all trays
def _read(board: Board, device: Device, bank: int) -> tuple[int, Flags]:
    """Return the first word of a device that is read in a bank, and which from there on are."""
    places, place, moving = _places(board, device.memory)
    whole, turned = device.part.words == board.memory(device.memory).words, place(bank) ^ place(0)
    if whole and turned and not turned & moving:  # it lies elsewhere, and otherwise as bank 0
        first, read = _read(board, device, 0)
        return first ^ turned, read
    within = places(bank) - device.first_word
    held = within if whole else within[(within >= 0) & (within < device.part.words)]
    if not held.size:
        return 0, np.zeros(0, dtype=bool)
    first = int(held.min())
    read = np.zeros(int(held.max()) - first + 1, dtype=bool)
    read[held - first] = True
    return first, read


def _banks(board: Board, contents: Contents, memory: Memory) -> list[list[BankDocument]]:
    found: list[list[BankDocument]] = [[] for _ in memory.devices]
    if not is_direct(board, memory) or memory not in board.picture_memories:
        return found
    wired = {line.index for line in board.address_lines(memory) if line.signal is Signal.BANK}
    seen = sum(1 << bit for bit, index in enumerate(board.bank_lines) if index in wired)
    pictures: dict[int, list[str]] = {}
    for placed in contents.pictures:
        pictures.setdefault(placed.bank & seen, []).append(placed.origin.name)
    for bank, names in sorted(pictures.items()):
        for device in memory.devices:
            first, read = _read(board, device, bank)
            if read.size:
                last, used = first + read.size - 1, int(np.count_nonzero(read))
                held: BankDocument = {"bank": bank, "pictures": names, "first": first, "last": last, "used": used}
                found[device.index].append(held)
    return found


def runs(numbers: NDArray[np.integer], size: int = 1, gap: int = 1) -> tuple[tuple[int, int], ...]:
    """Join ascending numbers of blocks into runs: the first and the last address of each, for blocks of ``size``.

    Two that are up to ``gap`` apart are in one run.
    """
    if not numbers.size:
        return ()
    breaks = np.flatnonzero(np.diff(numbers) > gap)
    firsts = numbers[np.concatenate([[0], breaks + 1])]
    lasts = numbers[np.concatenate([breaks, [numbers.size - 1]])]
    return tuple((int(first) * size, (int(last) + 1) * size - 1) for first, last in zip(firsts, lasts, strict=True))
