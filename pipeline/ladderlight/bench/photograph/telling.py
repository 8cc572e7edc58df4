"""Which test card tells faults apart that look alike on a photograph."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ladderlight.bench.faults.cards import cards_of, words_of_card
from ladderlight.bench.faults.listing import WiringFault
from ladderlight.bench.faults.screens import looks_of
from ladderlight.board import srgb_from_linear
from ladderlight.errors import LadderlightError
from ladderlight.recipe import Recipe

_LEAST = 0.02
"""Root mean square difference, as encoded, from which on a photograph shows two looks to be different."""


@dataclass(frozen=True, kw_only=True)
class TellingCard:
    """A card, and how many different looks the ``faults`` have on it, no fault included where it may be."""

    name: str
    looks: int
    faults: int


def telling_card(
    recipe: Recipe, bank: int, faults: Sequence[WiringFault], *, sound: bool, shown: str | None
) -> TellingCard | None:
    """Return the card on which some faults, and no fault where ``sound``, have the most different looks.

    Of several the one is taken whose two most similar looks differ most. ``shown`` is the card on the photograph.

    Returns
    -------
    None where no card tells more of them apart than the photograph, on which all look alike.
    """
    best: tuple[int, float, str] | None = None
    for name in cards_of(recipe):
        if name == shown:
            continue
        try:
            words = words_of_card(recipe, name, bank)
        except LadderlightError:  # the card does not fit this board
            continue
        looks = looks_of(recipe.board, words, bank, faults)
        kept = looks if sound or looks[0].faults else looks[1:]
        light = np.stack([srgb_from_linear(look.light) for look in kept]).reshape(len(kept), -1)
        away = np.array([np.sqrt(np.square(light - one).mean(axis=1)) for one in light])
        away[np.diag_indices(len(kept))] = np.inf
        different = 1 + sum(bool((away[at, :at] >= _LEAST).all()) for at in range(1, len(kept)))
        found = different, float(away.min()), name
        best = found if best is None or found > best else best
    if best is None or best[0] < 2:
        return None
    return TellingCard(name=best[2], looks=best[0], faults=len(faults) + sound)
