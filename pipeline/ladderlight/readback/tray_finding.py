"""Which tray each dump is of, found by its content."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from ladderlight.errors import UsageError
from ladderlight.flow.pictures import ByteOrder
from ladderlight.readback.dumps import Dump, fit
from ladderlight.readback.recognition import Candidate, Images
from ladderlight.readback.sections import Section, sections_of
from ladderlight.units.words import joined
from ladderlight.workspace.last_build import LastBuild

_NAMED = re.compile(r"tray[-_ ]?0*(\d+)", re.IGNORECASE)


def by_tray(
    dumps: Sequence[Dump],
    build: LastBuild,
    *,
    order: ByteOrder | None = None,
    device: str | None = None,
    asked: int | None = None,
) -> dict[int | None, list[Dump]]:
    """Sort dumps by the tray of the last build that they are of.

    The trays are read one after another. A dump that is like none of them clearly more than like the others is of the
    tray that its path names, such as ``tray-02/picture.bin``, or of that of all other dumps. Raises UsageError when
    there is no such tray, or the tray of a dump cannot be found.

    ``order`` of wide words, ``device``, and ``asked``, the tray of all dumps, are given where they are known.
    """
    numbers = build.numbers(() if asked is None else (asked,))
    if len(numbers) == 1:
        return {numbers[0]: list(dumps)}
    searches = {dump: _Search() for dump in dumps}
    for number in numbers:
        tray = build.tray(number)
        sections = [
            section for section in sections_of(build.board, tray.files, order) if device in (None, section.device.name)
        ]
        for dump, search in searches.items():
            search.try_tray(number, dump, sections, tray.image_arrays)
    found = {dump: search.numbers for dump, search in searches.items()}
    sure = [choices[0] for choices in found.values() if len(choices) == 1]
    sorted_: dict[int | None, list[Dump]] = {}
    for dump, choices in found.items():
        named = [number for number in numbers if str(number) in _NAMED.findall(dump.name)]
        likely = [number for number in choices if number in sure] or list(choices) or named[-1:] or sure
        if not likely or (not choices and len(set(likely)) > 1):
            known = joined([str(number) for number in numbers], "or")
            raise UsageError(f"cannot identify the tray by content; add --tray with {known}", where=dump.name)
        sorted_.setdefault(likely[0], []).append(dump)
    return dict(sorted(sorted_.items(), key=lambda item: item[0] or 0))


@dataclass(kw_only=True)
class _Search:
    """The trays that a dump is the very same as, and the two that it is most like."""

    same: list[int | None] = field(default_factory=list)
    best: list[tuple[Candidate, int | None]] = field(default_factory=list)

    def try_tray(self, number: int | None, dump: Dump, sections: Sequence[Section], images: Images) -> None:
        """Compare a dump with all that a tray has of its size."""
        candidates = [Candidate.of(held, images) for section in sections if (held := fit(dump, section)) is not None]
        if any(candidate.is_the_same for candidate in candidates):
            self.same.append(number)
        elif candidates:
            likest = max(candidates, key=lambda candidate: int(candidate.agreeing.sum()))
            ranked = sorted([*self.best, (likest, number)], key=lambda one: -int(one[0].agreeing.sum()))
            self.best = ranked[:2]

    @property
    def numbers(self) -> Sequence[int | None]:
        """The trays that the dump may be of: those that hold the very same, or else the one that is clearly likest."""
        if self.same or not self.best:
            return self.same
        (first, number), *others = self.best
        clear = first.tells and all(first.is_clearly_more_like(other) for other, _ in others)
        return [number] if clear else []
