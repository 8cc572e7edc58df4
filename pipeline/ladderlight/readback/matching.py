"""Which dump is of which section of which device: identified by name, by size, by content, or by what is left."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import PurePath

import numpy as np

from ladderlight.errors import UsageError, nearest_word
from ladderlight.readback.dumps import Dump, Held, fit, misfit
from ladderlight.readback.other_parts import as_other_part
from ladderlight.readback.recognition import Images, expected_bytes, recognised
from ladderlight.readback.sections import Section, named_after
from ladderlight.units.words import joined

_MOST_NAMED = 4


def match(
    dumps: Sequence[Dump],
    sections: Sequence[Section],
    *,
    wanted: Images | None = None,
    earlier: Images | None = None,
    device: str | None = None,
) -> list[Held]:
    """Return what each dump is of, in the order of the dumps.

    Raises UsageError when there is no such device, a dump is damaged or fits nothing, or cannot be identified.

    Parameters
    ----------
    dumps
        The files.
    sections
        What they may be of.
    wanted
        What the devices should hold, by name: uint8, low byte of each word first. Dumps that neither name nor size
        tells apart are then recognised by content; without it they are taken in the order of the sections.
    earlier
        What devices held before, by name and as ``wanted``: what is left is recognised by it.
    device
        The device that all the dumps are of.
    """
    if device is not None:
        names = dict.fromkeys(section.device.name for section in sections)
        if device not in names:
            raise UsageError(f"the board has no device {device!r}; {nearest_word(device, names)}")
        sections = [section for section in sections if section.device.name == device]
    named = named_after(sections)
    found: dict[Dump, Held] = {}
    open_: dict[Dump, list[Held]] = {}
    for dump in dumps:
        choices = _choices(dump, sections, named.get(dump.stem, ()), wanted)
        if len(choices) == 1:
            found[dump] = choices[0]
        else:
            open_[dump] = choices
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
    """Lay a dump over the sections that its name means, or else over those of the same device, or over all.

    One that fits none may be that of a programmer set to another part.
    """
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
    """Take dumps that give all of a piece, at the addresses that it has in its device, for that piece."""
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
    """Return what stops a dump from being identified, and what to do."""
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
