import pytest

from ladderlight.proof.board_words import cautions


@pytest.mark.parametrize(
    ("part", "light", "voltage"), [("27C010", True, True), ("28C256", False, False), ("39SF010A", False, False)]
)
def test_cautions_follow_the_parts(make_board, memory, part, light, voltage):
    found = " ".join(cautions(make_board(memory(address=["x2-x9"], data=["b0-b1", "g0-g1", "r0-r1"], part=part))))
    assert ("ultraviolet" in found) is light
    assert ("12.5 V" in found) is voltage
    for word in ("datasheets", "Static", "has power", "line rate", "blanking", "lethal"):
        assert word in found
