"""What a photograph shows as a document, in words, and as a page."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from ladderlight.bench.faults.listing import WiringFault
from ladderlight.bench.faults.report import picture_url
from ladderlight.bench.photograph.ranking import Candidate, Ranking
from ladderlight.bench.photograph.telling import TellingCard, TellingReading
from ladderlight.bench.pins import ChipPin
from ladderlight.bench.sheets.document import named
from ladderlight.board import Board, linear_from_srgb
from ladderlight.proof.board_words import cautions
from ladderlight.proof.templating import fill
from ladderlight.units.arrays import Floats, Singles

NO_FAULT = "no fault"


def document_of(
    ranking: Ranking, scale: float, card: TellingCard | None = None, reading: TellingReading | None = None
) -> dict[str, Any]:
    """Return a ranking as plain values; the corners are x and y in pixels of the file, from top left clockwise.

    They are None where no bright screen is to be seen. Faults that look the same but for the white balance have one
    score and one confidence. ``card`` is that to burn next, ``reading`` what to measure.
    """
    return {
        "ok": ranking.fits,
        "candidates": [
            {
                "fault": text,
                "chips": list(map(asdict, chips)),
                "score": round(candidate.score, 4),
                "confidence": round(candidate.confidence, 4) if ranking.fits else 0.0,
            }
            for candidate in ranking.candidates
            for text, chips in _faults(candidate)
        ],
        "corners": None if ranking.corners is None else ((ranking.corners + 0.5) * scale).round(1).tolist(),
        "card": card.name if card else None,
        "reading": reading
        and {
            **{key: getattr(reading.reading, key) for key in ("high", "words", "channel", "at")},
            "volts": {fault: asdict(volts) for fault, volts in reading.volts.items()},
        },
    }


def alike(ranking: Ranking) -> list[WiringFault]:
    """Return the faults that fit about equally well; none where nothing fits, or the likeliest is without a rival."""
    if not ranking.fits or ranking.corners is None:
        return []
    faults = [fault for candidate in ranking.equal for fault in candidate.faults]
    return faults if len(faults) + any(candidate.sound for candidate in ranking.equal) > 1 else []


def verdict(ranking: Ranking) -> str:
    """Return what the photograph shows, in one sentence."""
    equal = ranking.equal
    if not ranking.fits:
        return "no single fault fits; compare the chips, and check bank, corners and picture"
    if ranking.corners is None:
        return "no bright screen in dark surroundings; a dark screen has one of these faults"
    if len(equal) > 1:
        return f"{len(equal)} looks fit about equally"
    others = " or ".join(fault.text for fault in equal[0].faults)
    if equal[0].sound:
        return "the screen is as it should be" + (f", or looks so with {others}" if others else "")
    return f"likeliest: {others}"


def next_steps(ranking: Ranking, card: TellingCard | None, reading: TellingReading | None) -> list[str]:
    """Return what tells faults apart that fit equally well, in words; nothing where the likeliest has no rival."""
    if ranking.corners is None:
        return ["if the screen is lit, darken the room, or give its --corners"]
    if not alike(ranking):
        return []
    steps = []
    if card:
        told = f"on it, the {card.faults} have {card.looks} different looks"
        steps.append(f"burn card {card.name} to tell them apart; {told}")
    if reading:
        by_volts: dict[str, list[str]] = {}
        for fault, volts in sorted(reading.volts.items(), key=lambda one: one[1].nominal):
            by_volts.setdefault(f"{volts.nominal:.3f} V", []).append(fault)
        each = "; ".join(f"{value} with {' or '.join(faults)}" for value, faults in by_volts.items())
        steps.append(f"measure {reading.reading.at} with {named(reading.reading.high)}, as on the bench sheet: {each}")
        if reading.clear < reading.levels:
            steps.append(
                "some are closer than the resistors' tolerance; with the power off, measure these resistors too"
            )
    return steps or ["no card or reading tells these apart; check the pins of each"]


def lines_of(ranking: Ranking, steps: Sequence[str]) -> list[str]:
    """Return what the photograph shows, what to do next, and the pins to check for each fault that may be, in lines."""
    lines = [verdict(ranking), *steps]
    for candidate in ranking.equal if ranking.fits else ():
        lines.append(f"confidence {candidate.confidence * 100:.0f} %, explains {candidate.score * 100:.1f} %:")
        for text, chips in _faults(candidate):
            lines.append(f"  {text}" + (f"; check {', '.join(map(str, chips))}" if chips else ""))
    return lines


def photograph_page(
    project: str, board: Board, ranking: Ranking, shown: str, steps: Sequence[str], most: int = 4
) -> str:
    """Return a page with the photograph, the best candidates, and how each differs, as one HTML document."""
    return fill(
        "photograph.html",
        project=project,
        shown=shown,
        verdict=verdict(ranking),
        steps=[step[:1].upper() + step[1:] for step in steps],
        aspect=board.raster.mode.screen_aspect,
        seen=None if ranking.corners is None else picture_url(linear_from_srgb(ranking.seen)),
        candidates=[
            {
                "faults": [{"name": text, "pins": "; ".join(map(str, chips))} for text, chips in _faults(candidate)],
                "confidence": f"{candidate.confidence * 100:.0f} %" if ranking.fits else "none",
                "score": f"{candidate.score * 100:.1f} %",
                "predicted": picture_url(_as_light(candidate.predicted)),
                "difference": picture_url(_as_light(0.5 + ranking.seen - candidate.predicted)),
            }
            for candidate in ranking.candidates[:most]
        ],
        cautions=cautions(board),
    )


def _faults(candidate: Candidate) -> Iterator[tuple[str, tuple[ChipPin, ...]]]:
    """Yield the faults of a candidate with their pins; no fault, where it may be, comes first and has none."""
    if candidate.sound:
        yield NO_FAULT, ()
    yield from ((fault.text, fault.chips) for fault in candidate.faults)


def _as_light(values: Floats | Singles) -> Floats:
    return linear_from_srgb(np.clip(values, 0, 1))
