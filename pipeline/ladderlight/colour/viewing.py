"""From where a board's screen is looked at."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Viewing:
    """What a recipe says of its screen and of who looks at it, in ``[viewing]``."""

    distance: float | None = None
    """Metres from eye to screen; None when the recipe does not say."""
    screen_width: float = 0.3
    """Metres, of the visible picture. Without other knowledge that of a small tube monitor."""

    def changed(self, *, distance: float | None = None, screen_width: float | None = None) -> Viewing:
        """Give the same with what is given in the place of what the recipe says."""
        return Viewing(
            distance=self.distance if distance is None else distance,
            screen_width=self.screen_width if screen_width is None else screen_width,
        )
