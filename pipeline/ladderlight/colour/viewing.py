"""Viewing conditions of a board's screen."""

from dataclasses import replace
from typing import Self

from ladderlight.system.frozen import Frozen


class Viewing(Frozen):
    """Distance and width of the screen, as in a recipe's ``[viewing]``."""

    distance: float | None = None
    """Metres from eye to screen; None when the recipe has none."""
    screen_width: float = 0.3
    """Metres, of the visible picture. The default is that of a small tube monitor."""

    def changed(self, *, distance: float | None = None, screen_width: float | None = None) -> Self:
        """Return the same with the values that are given in place of the recipe's."""
        return replace(
            self,
            distance=self.distance if distance is None else distance,
            screen_width=self.screen_width if screen_width is None else screen_width,
        )
