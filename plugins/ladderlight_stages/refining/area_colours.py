"""The colours of a picture's areas, whatever dots they are made of."""

from functools import cached_property

import numpy as np

from ladderlight import Frozen, Palette
from ladderlight.units.arrays import Codes, Singles
from ladderlight_stages.perception.areas import BLUR, Areas

_ALLOWED = 0.45
"""CIEDE2000 by which the mean may be above that of error diffusion. One just noticeable difference is about 1."""
_LOCAL = 1.0
"""CIEDE2000 by which the 95th percentile may be above: single areas must not lose their colours for the others."""
_HALVINGS = 6


class AreaColours(Frozen, eq=False):
    """The colours of a picture's areas beside those of its codes by plain error diffusion, which keeps them well.

    ``pixels`` float32 (height, width, 3), linear light, as near as the board can show in principle; ``diffused`` uint16
    (height, width); ``aspect`` is a pixel's width over its height.
    """

    pixels: Singles
    palette: Palette
    diffused: Codes
    aspect: float = 1.0

    def differences(self, codes: Codes) -> Singles:
        """Return the CIEDE2000 difference at each pixel after a blur, float32 (height, width); see ``Areas``."""
        return self._areas.differences_of(codes, self.palette.linear)

    def error(self, codes: Codes) -> float:
        """Return the mean of the differences."""
        return float(self.differences(codes).mean())

    def keeps(self, codes: Codes) -> bool:
        """Whether codes keep the colours about as well as diffusion does."""
        found = self.differences(codes)
        allowed = float(np.percentile(self._plain, 95)) + _LOCAL
        return float(found.mean() - self._plain.mean()) <= _ALLOWED and float(np.percentile(found, 95)) <= allowed

    def excess(self, codes: Codes) -> Singles:
        """Return by how much the colours around each pixel are worse than diffusion's, float32 (height, width)."""
        from scipy.ndimage import gaussian_filter  # slow to import

        across, down = BLUR / max(self.aspect, 1.0), BLUR * min(self.aspect, 1.0)
        worse = np.maximum(self.differences(codes) - self._plain, 0)
        return np.asarray(gaussian_filter(worse, (down, across)), dtype=np.float32)

    def restrained(self, codes: Codes) -> Codes:
        """Return codes with those of diffusion where colours suffer most, as few as keep the colours."""
        if self.keeps(codes):
            return codes
        excess = self.differences(codes) - self._plain
        taken, least, most = self.diffused, 0.0, 1.0
        for _ in range(_HALVINGS):
            share = (least + most) / 2
            mixed = np.where(excess > np.quantile(excess, 1 - share), self.diffused, codes)
            if self.keeps(mixed):
                taken, most = mixed, share
            else:
                least = share
        return taken

    @cached_property
    def _areas(self) -> Areas:
        return Areas(reference=self.pixels, aspect=self.aspect)

    @cached_property
    def _plain(self) -> Singles:
        return self.differences(self.diffused)
