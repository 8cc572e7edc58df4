"""Which dump is of which section of which device and tray: by name, by size, by content, or by what is left."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import PurePath

import numpy as np

from ladderlight.errors import UsageError, nearest_word
from ladderlight.flow.pictures import ByteOrder
from ladderlight.readback.dumps import Dump, Held, fit, misfit
from ladderlight.readback.recognition import Candidate, Images, as_other_part, expected_bytes, recognised
from ladderlight.readback.sections import Section, named_after, sections_of
from ladderlight.units.words import joined
from ladderlight.workspace.last_build import LastBuild

_MOST_NAMED = 4
_NAMED = re.compile(r"tray[-_ ]?0*(\d+)", re.IGNORECASE)


def match(
    dumps: Sequence[Dump],
    sections: Sequence[Section],
    *,
    wanted: Images | None = None,
    earlier: Images | None = None,
    device: str | None = None,
) -> list[Held]:
    """Return what each dump is of among the sections, only those of ``device`` if given, in the order of the dumps.

    Dumps that neither name nor size tells apart are recognised by what the devices should hold, ``wanted``, and then by
    what they held ``earlier``; without it they are taken in the order of the sections. Raises UsageError when there is
    no such device, a dump is damaged or fits nothing, or cannot be identified.
    """
    if device is not None:
        names = dict.fromkeys(section.device.name for section in sections)
        if device not in names:
            raise UsageError(f"the board has no device {device!r}; {nearest_word(device, names)}")
        sections = [section for section in sections if section.device.name == device]
    named = named_after(sections)
    choices = {dump: _choices(dump, sections, named.get(PurePath(dump.name).stem, ()), wanted) for dump in dumps}
    found = {dump: helds[0] for dump, helds in choices.items() if len(helds) == 1}
    open_ = {dump: helds for dump, helds in choices.items() if len(helds) != 1}
    if wanted is not None:
        _by_content(open_, found, wanted)
        if earlier:
            _by_content(open_, found, {**wanted, **earlier})
    _by_address(open_, found)
    _by_exclusion(open_, found, ordered=wanted is None)
    _by_file(open_, found)
    for dump in dumps:
        if dump not in found:
            raise UsageError(_ambiguous(open_[dump], found.values()), where=dump.name)
    return [found[dump] if wanted is None else _best_based(found[dump], wanted) for dump in dumps]


def _choices(dump: Dump, sections: Sequence[Section], meant: Sequence[Section], wanted: Images | None) -> list[Held]:
    """Lay a dump over the sections of its name, or else of its device, or all; or take it for one of another part."""
    device = meant[0].device if meant else None
    wider = [section for section in sections if device is None or section.device == device]
    for some in (meant, wider):
        fitting = [held for held in (fit(dump, section) for section in some) if held is not None]
        if fitting:
            return fitting
    other_parts = {section.device: as_other_part(dump, section, wanted) for section in wider if section.whole}
    if fitting := [held for held in other_parts.values() if held is not None]:
        return fitting
    raise misfit(dump, wider)


def _by_content(open_: Mapping[Dump, list[Held]], found: dict[Dump, Held], wanted: Images) -> None:
    """Recognise dumps: first those that are the very same as what nothing else has taken, then those that are like it.

    What is left is tried on what is taken: one may give the same dump in two formats.
    """
    for exactly, taken_too in ((True, False), (False, False), (True, True)):
        for dump, choices in open_.items():
            free = choices if taken_too else _free(choices, found)
            if dump in found or not free or (taken_too and _free(choices, found)):
                continue
            best = recognised(free, wanted)
            if best is not None and (best[1] or not (exactly or len(free) == 1)):
                found[dump] = best[0]


def _by_address(open_: Mapping[Dump, list[Held]], found: dict[Dump, Held]) -> None:
    for dump, choices in open_.items():
        there = [held for held in choices if held.base and held.base == held.section.span.first and not held.left_out]
        if dump not in found and len(there) == 1 and _free(there, found):
            found[dump] = there[0]


def _by_exclusion(open_: Mapping[Dump, list[Held]], found: dict[Dump, Held], *, ordered: bool) -> None:
    """Assign to dumps what no other has taken: the only thing left or, where their order counts, the first."""
    progress = True
    while progress:
        progress = False
        for dump, choices in open_.items():
            free = _free(choices, found)
            if dump not in found and (len(free) == 1 or (free and ordered)):
                found[dump] = min(free, key=_guess)
                progress = True


def _by_file(open_: Mapping[Dump, list[Held]], found: dict[Dump, Held]) -> None:
    """Take a dump of a whole device, whose byte order is unknown, as the file of its name, or as the first file."""
    for dump, choices in open_.items():
        devices = {held.section.device.name for held in choices}
        if dump in found or len(devices) > 1 or not all(held.section.whole for held in choices):
            continue
        name = PurePath(dump.name).name
        best = min(choices, key=lambda held: name not in held.section.files)
        if _free([best], found):
            found[dump] = best


def _guess(held: Held) -> int:
    """Rank what a dump is likely to be of: all that a file holds, else a device with some left out, else odd bytes."""
    if held.section.files and not held.left_out:
        return 0
    return 1 if held.section.whole else 2


def _free(choices: Sequence[Held], found: Mapping[Dump, Held]) -> list[Held]:
    return [held for held in choices if not _overlaps(held.section, found.values())]


def _overlaps(section: Section, found: Iterable[Held]) -> bool:
    others = [held.section for held in found if held.section.device == section.device]
    return any(np.isin(section.places, other.places, assume_unique=True).any() for other in others)


def _best_based(held: Held, wanted: Images) -> Held:
    """Of the addresses that the build's files give, take the one at which a dump of no file's name agrees best."""
    section = held.section
    if PurePath(held.dump.name).name in section.files or len(set(section.offsets)) < 2:
        return held
    addresses = held.at + held.base
    bases = [base for base in section.offsets if ((addresses >= base) & (addresses < base + section.size)).all()]
    based = [replace(held, base=base, at=addresses - base) for base in dict.fromkeys([held.base, *bases])]
    return max(based, key=lambda one: int((expected_bytes(one, wanted) == one.data).sum()))


def _ambiguous(choices: Sequence[Held], found: Iterable[Held]) -> str:
    others = [held for held in found if any(_overlaps(one.section, [held]) for one in choices)]
    if others and all(_overlaps(one.section, others) for one in choices):
        names = ", ".join(held.dump.name for held in others)
        return f"can only hold what is in {names} already; leave one of them out"
    devices = list(dict.fromkeys(one.section.device.name for one in choices))
    if len(devices) > 1:
        return f"cannot identify the device by name or content; add --device with one of {', '.join(devices)}"
    named = [one.section.name for one in choices[:_MOST_NAMED]] + ["another"] * (len(choices) > _MOST_NAMED)
    parts = joined(named, "or")
    files = [one.section.files[0] for one in choices if one.section.files]
    action = f"name the dump after the file, such as {files[0]}" if files else "give all parts at once, each in a file"
    return f"cannot identify the part of device {devices[0]!r} by name or content: {parts}; {action}"


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
        candidates = [Candidate(held, images) for section in sections if (held := fit(dump, section)) is not None]
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
