"""What a photograph shows, in words and as a document, where a missing resistor looks like its line stuck low."""

from __future__ import annotations

import numpy as np

from ladderlight.bench.faults.listing import faults_of
from ladderlight.bench.photograph.ranking import Candidate, Ranking
from ladderlight.bench.photograph.report import alike, document_of, next_steps, verdict
from ladderlight.bench.photograph.telling import telling_reading

LOW, MISSING = "data line D5 (r1) stuck low", "resistor r1 (red, 715) missing"


def test_faults_of_one_answer_share_its_confidence_and_are_told_apart_by_volts(board) -> None:
    """Volts of red with both lines high, by Millman's theorem: 1330 and 715 ohm from 5 V into 75 ohm."""
    faults = {fault.text: fault for fault in faults_of(board)}
    dark = np.zeros((2, 2, 3), dtype=np.float32)
    both = (faults[MISSING], faults[LOW])
    candidate = Candidate(faults=both, sound=False, score=0.97, confidence=0.93, predicted=dark)
    ranking = Ranking(candidates=(candidate,), corners=np.zeros((4, 2)), seen=dark)
    reading = telling_reading(board, {"picture": np.zeros(1 << 17, dtype=np.uint32)}, 0, alike(ranking))
    document = document_of(ranking, 1.0, None, reading)
    assert [(one["fault"], one["score"], one["confidence"]) for one in document["candidates"]] == [
        (MISSING, 0.97, 0.93),
        (LOW, 0.97, 0.93),
    ]
    volts = {LOW: 5 / 1330 / (1 / 1330 + 1 / 715 + 1 / 75), MISSING: 5 / 1330 / (1 / 1330 + 1 / 75)}
    told = {fault: one["nominal"] for fault, one in document["reading"]["volts"].items()}
    assert {fault: round(value, 9) for fault, value in told.items()} == {f: round(v, 9) for f, v in volts.items()}
    assert verdict(ranking) == f"likeliest: {MISSING} or {LOW}"
    measure, _ = next_steps(ranking, None, reading)
    assert measure.startswith("measure J1 pin 1 (red) with ")
    assert measure.endswith(f": {volts[LOW]:.3f} V with {LOW}; {volts[MISSING]:.3f} V with {MISSING}")
    assert next_steps(ranking, None, None) == ["no card or reading tells these apart; check the pins of each"]
