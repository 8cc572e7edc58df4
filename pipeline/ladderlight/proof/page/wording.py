"""What is said of changes and findings in one line each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from ladderlight.board import Finding
from ladderlight.proof.changes import PictureChange
from ladderlight.units.words import counted, joined

_MOST_NAMED = 12
_STATES = {
    "changed": "Changed too",
    "new": "New",
    "renamed": "As before, under another name",
    "moved": "As before, in another bank",
    "gone": "No longer there",
    "unknown": "Not compared, as the screen of the build before cannot be read",
}


def counted_findings(findings: Sequence[Finding]) -> str:
    """Return how many findings there are of each level: ``1 caution, 2 notes``."""
    counts = Counter(finding.level for finding in findings)
    return ", ".join(counted(counts[level], level) for level in ("error", "caution", "note") if counts[level]) or "none"


def other_changes(pictures: Sequence[PictureChange]) -> Iterator[tuple[str, str]]:
    """Yield each kind of change that no screens are shown of, and the names of its pictures."""
    for state, words in _STATES.items():
        names = [_named(picture) for picture in pictures if picture["state"] == state and "before" not in picture]
        more = len(names) - _MOST_NAMED
        if names:
            yield words, joined([*names[:_MOST_NAMED], *([f"{more} more"] if more > 0 else [])])


def _named(picture: PictureChange) -> str:
    if picture["state"] == "gone":
        return f"{picture['name']} (was in bank {picture['was']})"
    name = f"{picture['earlier']}, now {picture['name']}" if "earlier" in picture else picture["name"]
    moved = picture["state"] in ("moved", "renamed") and picture["was"] != picture["bank"]
    return f"{name} (bank {picture['was']} to {picture['bank']})" if moved else f"{name} (bank {picture['bank']})"
