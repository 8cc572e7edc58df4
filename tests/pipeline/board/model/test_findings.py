from __future__ import annotations

from ladderlight.board.model.findings import Finding, ranked


def test_errors_come_first_and_the_rest_keeps_its_order() -> None:
    levels = ["note", "caution", "error", "note", "caution"]
    found = [Finding(level=level, where=str(at), message="") for at, level in enumerate(levels)]
    assert [finding.where for finding in ranked(found)] == ["2", "1", "4", "0", "3"]
