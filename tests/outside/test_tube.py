"""A tube's light against ITU-R BT.1886 as ``colour-science`` has it."""

from __future__ import annotations

import numpy as np
import pytest

from ladderlight.board import Ladder
from ladderlight.board.model.palette import light_of


@pytest.mark.parametrize("black", [0.0, 0.001, 0.02])
def test_bt_1886(black: float) -> None:
    """Annex 1: L = a max(V + b, 0) ** 2.4, between the light of black and that of white."""
    colour = pytest.importorskip("colour", reason="colour-science is not installed")
    drive = np.linspace(0, 1, 65)
    expected = colour.models.eotf_BT1886(drive, L_B=black, L_W=1.0)
    assert light_of(drive, Ladder(supply=5.0, channels=(), response="tube", tube_black=black)) == pytest.approx(
        expected, rel=1e-9, abs=1e-12
    )
