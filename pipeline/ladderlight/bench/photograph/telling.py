"""What tells faults apart that look alike on a photograph: a test card, or a reading at the connector."""

from collections.abc import Iterable, Sequence

import numpy as np

from ladderlight.bench.connector import Reading, Volts, loaded_volts, readings_of
from ladderlight.bench.faults.listing import WiringFault
from ladderlight.bench.faults.screens import cards_of, looks_of, words_of_card
from ladderlight.bench.photograph.fitting import alike
from ladderlight.board import Board, srgb_from_linear
from ladderlight.board.scanning.scan import scan
from ladderlight.errors import LadderlightError
from ladderlight.recipe import Recipe
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import MemoryWords

_EVERY = 8
"""Counts from one place to the next at which a reading's code is looked up: a fault may be of one chip of several."""
_LEAST = 0.001  # volts that a meter shows: more is between readings that are told apart


class TellingCard(Frozen):
    """A card, and how many different looks the ``faults`` have on it, no fault included where it may be."""

    name: str
    looks: int
    faults: int


class TellingReading(Frozen):
    """A reading of the bench sheet, and the ``volts`` that are read then with each fault, by its text."""

    reading: Reading
    volts: dict[str, Volts]

    @property
    def levels(self) -> int:
        """How many of the voltages differ."""
        return _different((volts.nominal, volts.nominal) for volts in self.volts.values())

    @property
    def clear(self) -> int:
        """How many of the voltages differ whatever the resistors' tolerance."""
        return _different((volts.lowest, volts.highest) for volts in self.volts.values())


def telling_card(
    recipe: Recipe, bank: int, faults: Sequence[WiringFault], *, sound: bool, shown: str | None
) -> TellingCard | None:
    """Return the card on which some faults, and no fault where ``sound``, have the most different looks.

    Of several the one is taken whose two most similar looks differ most. ``shown`` is the card on the photograph. None
    where no card tells more of them apart than the photograph, on which all look alike.
    """
    best = (1, 0.0, "")
    for name in cards_of(recipe):
        if name == shown:
            continue
        try:
            words = words_of_card(recipe, name, bank)
        except LadderlightError:  # the card does not fit this board
            continue
        looks = looks_of(recipe.board, words, bank, faults)
        light = np.stack([look.light for look in (looks if sound or looks[0].faults else looks[1:])])
        different = sum(not alike(one, light[:at]).any() for at, one in enumerate(light))
        values = srgb_from_linear(light).reshape(len(light), -1)
        away = np.array([np.sqrt(np.square(values - one).mean(axis=1)) for one in values])
        away[np.diag_indices(len(light))] = np.inf
        best = max(best, (different, float(away.min()), name))
    return TellingCard(name=best[2], looks=best[0], faults=len(faults) + sound) if best[0] > 1 else None


def telling_reading(
    board: Board, words: MemoryWords, bank: int, faults: Sequence[WiringFault]
) -> TellingReading | None:
    """Return the reading, of those of the bench sheet, at which some faults give the most different voltages.

    Of several the one is taken whose voltages are furthest apart. None where no reading tells any apart.
    """
    tried = [
        TellingReading(reading=one, volts={fault.text: _volts(board, words, bank, fault, one) for fault in faults})
        for one in readings_of(board)
    ]
    best = max(tried, key=lambda one: (one.levels, one.clear, _closest(one)))
    return best if best.levels > 1 else None


def _volts(board: Board, words: MemoryWords, bank: int, fault: WiringFault, reading: Reading) -> Volts:
    """Return what is read with a fault, when the words of a reading are in all chips."""
    filled = {name: np.full_like(words[name], word) for name, word in reading.words.items()}
    faulty, held = fault.change(board, {**words, **filled})
    x, y = (np.arange(0, axis.visible, _EVERY) for axis in (board.raster.x, board.raster.y))
    found = np.unique(scan(faulty, held, x[None, :], y[:, None], bank).codes)
    meant = sum(1 << bit for bit, line in enumerate(board.code_lines) if line in reading.high)
    code = next((int(code) for code in found if code != meant), meant)
    high = tuple(line for bit, line in enumerate(board.code_lines) if code >> bit & 1)
    channel = next(channel for channel in board.ladder.channels if channel.name == reading.channel)
    return loaded_volts(faulty.ladder, high, channel)


def _different(ranges: Iterable[tuple[float, float]]) -> int:
    """Return how many groups of ranges of volts a meter tells apart."""
    count, top = 0, -np.inf
    for lowest, highest in sorted(ranges):
        count += lowest > top + _LEAST
        top = max(top, highest)
    return count


def _closest(one: TellingReading) -> float:
    gaps = np.diff(np.sort([volts.nominal for volts in one.volts.values()]))
    return float(gaps.min(where=gaps > _LEAST, initial=np.inf))
