"""All single faults that are worth trying on a chip that differs."""

from collections.abc import Iterator, Sequence

import numpy as np

from ladderlight.bench.pins import Pins
from ladderlight.board import Board, Device
from ladderlight.readback.diagnosis.erasure import burned_over, one_way, smaller_part, unfinished
from ladderlight.readback.diagnosis.faults import Fault, fixed
from ladderlight.readback.diagnosis.lines import address_faults, data_faults, reversed_bits
from ladderlight.readback.diagnosis.misplacement import bank_order, byte_order, piece_order, shiftable, shifted
from ladderlight.readback.readings import Reading
from ladderlight.readback.sections import mask_of
from ladderlight.units.arrays import Words


def possible_faults(
    board: Board,
    device: Device,
    wanted: Words,
    found: Words,
    known: Sequence[Fault] = (),
    reading: Reading | None = None,
) -> Iterator[Fault]:
    """Yield every single fault that is worth trying, after all that a healthy chip may hold.

    Parameters
    ----------
    board, device
        The board and the device in question.
    wanted, found
        What the device should hold, and what it does: uint32, shape (words of the part,). Shift and the order of banks
        and pieces are looked for in what was found; all else follows from what is wanted. What was not read is found
        as it should be.
    known
        Contents that a healthy chip may hold, see :mod:`ladderlight.readback.diagnosis.known`.
    reading
        How the device was read, where that was in pieces or not in the order of its image.
    """
    pins = Pins(board=board, device=device)
    read = reading.read if reading else ()
    mask = mask_of(device, read) if read else np.full_like(wanted, pins.ones)
    banks = bank_order(pins, wanted, found, mask)
    yield from known
    if banks and banks.healthy:
        yield banks.fault
    yield fixed("blank", "the chip is blank", np.full_like(wanted, pins.ones))
    zeros = "every word reads as zero: it was never enabled or powered while it was read, or all its bits are cleared"
    yield fixed("all_zero", zeros, np.zeros_like(wanted))
    yield from unfinished(pins, wanted, found)
    yield from burned_over(wanted, known)
    yield from one_way(pins, wanted, found)
    yield fixed("data_inverted", "all data lines are inverted", wanted ^ np.uint32(pins.ones))
    yield fixed("data_reversed", "the data lines are in reverse order", reversed_bits(wanted, device.part.width))
    yield from data_faults(pins, wanted)
    yield from address_faults(pins, wanted)
    yield from smaller_part(pins, wanted)
    if reading:  # before the byte order: exchanged files of even and odd bytes look the same
        yield from piece_order(pins, wanted, found, reading)
    yield from byte_order(pins, wanted, read)
    if banks and not banks.healthy:
        yield banks.fault
    for view in shiftable(device, read):
        yield from shifted(pins, wanted, found, view)
