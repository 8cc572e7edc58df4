"""Faults of a ladder's resistors, as another ladder."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from ladderlight.board import Board, Channel, Ladder
from ladderlight.board.model.ladder import LOAD
from ladderlight.board.model.network import Resistor

Place = tuple[str, str]
"""A resistor: its channel and its name in it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class FaultyLadder(Ladder):
    """A ladder with resistors of wrong values: ``changed`` in ohms, infinity for one that is missing."""

    changed: Mapping[Place, float]

    def resistors_of(self, channel: Channel) -> tuple[Resistor, ...]:
        """Return the channel's resistors as they are."""
        return tuple(
            replace(resistor, ohms=self.changed.get((channel.name, resistor.name), resistor.ohms))
            for resistor in super().resistors_of(channel)
        )


def resistors(ladder: Ladder) -> dict[Place, float]:
    """Return the ohms of all resistors of a ladder, the monitor's left out."""
    return {
        (channel.name, resistor.name): resistor.ohms
        for channel in ladder.channels
        for resistor in ladder.resistors_of(channel)
        if resistor.name != LOAD
    }


def with_resistors(board: Board, changed: Mapping[Place, float]) -> Board | None:
    """Return a board some of whose resistors have other values, in ohms; None where nothing holds a voltage then."""
    ladder = board.ladder
    fields = {name: getattr(ladder, name) for name in ladder.__dataclass_fields__}
    faulty = replace(board, ladder=FaultyLadder(**fields, changed=changed))
    try:
        _ = faulty.palette
    except ValueError:
        return None
    return faulty
