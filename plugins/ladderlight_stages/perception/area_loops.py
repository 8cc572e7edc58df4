"""What is measured of areas in one compiled call: from one loop to the next Python would take longer than some run."""

from __future__ import annotations

from ladderlight.units.arrays import Codes, Singles
from ladderlight_stages.compiled import compiled
from ladderlight_stages.perception.blur_loops import blurred, blurred_codes
from ladderlight_stages.perception.lab_loops import ciede2000, lab_from


@compiled
def lab_of_areas(light: Singles, across: Singles, down: Singles, step: int, shares: Singles) -> Singles:
    """Return CIELAB of a picture after a blur; see ``blurred`` and ``lab_from``."""
    return lab_from(blurred(light, across, down, step), shares)


@compiled
def differences_from(
    wanted: Singles, codes: Codes, colours: Singles, across: Singles, down: Singles, step: int, shares: Singles
) -> Singles:
    """Return CIEDE2000 between ``wanted``, as from ``lab_of_areas``, and codes after the same blur."""
    return ciede2000(wanted, lab_from(blurred_codes(codes, colours, across, down, step), shares))
