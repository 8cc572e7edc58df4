"""Chips drawn to scale: banks, what is free, and what differs from an earlier build and from what was burned."""

from collections.abc import Sequence
from itertools import pairwise

from ladderlight.devices.documents import BankDocument, DeviceDocument, ManifestDocument
from ladderlight.proof.changes import Changes, DeviceChange
from ladderlight.system.frozen import Frozen
from ladderlight.units.words import address, counted

_IN_A_ROW, _IN_A_LONG_ROW = 8, 16
_MANY = 128  # banks from which on rows are long
_MOST_ROWS = 64
_MOST_NAMED = 8


class Box(Frozen):
    """A part of a row: percent of its width from the left, and its width; ``bank`` None where banks are not apart."""

    left: float
    width: float
    bank: int | None
    label: str
    title: str
    used: float
    """Percent of its words that pixels read."""
    changed: bool
    stale: bool
    """Whether the chip holds something else there."""


class Row(Frozen):
    """A row of a chip's words with their boxes, and what differs as marks: left and width in percent."""

    first: str
    used: float
    """The largest of its boxes' shares."""
    boxes: Sequence[Box]
    changed: Sequence[tuple[float, float]]
    stale: Sequence[tuple[float, float]]


class _Stretch(Frozen):
    """Words of a chip that are drawn as one, with the banks in them."""

    first: int
    last: int
    used: int
    banks: Sequence[BankDocument]


def chip_maps(manifest: ManifestDocument, changes: Changes, stale: Sequence[DeviceChange]) -> list[dict[str, object]]:
    """Return what is drawn and said of each chip.

    ``changes`` are what the build changes, see :func:`ladderlight.proof.changes.changes_document`; ``stale`` is how
    each device differs from what its chip holds, see :func:`ladderlight.proof.changes.device_changes`.
    """
    since_build = {device["device"]: device for device in changes["devices"]}
    since_burned = {device["device"]: device for device in stale}
    return [
        _chip(device, since_build.get(device["name"]), since_burned[device["name"]]) for device in manifest["devices"]
    ]


def _chip(device: DeviceDocument, since_build: DeviceChange | None, since_burned: DeviceChange) -> dict[str, object]:
    stretches = _stretches(device)
    rows = _row_count(device, stretches)
    drawn = [_row(device, stretches, row, rows, (since_build, since_burned)) for row in range(rows)]
    filled = max((at + 1 for at, row in enumerate(drawn) if row.boxes or row.changed or row.stale), default=1)
    last = address(device["words"] - 1, device["words"])
    return {
        "device": device,
        "rows": drawn[:filled],
        "rest": f"{drawn[filled].first} to {last}: free" if filled < rows else "",
        "scale": f"{counted(rows, 'row')} of {device['words'] // rows:,} words" if rows > 1 else "",
        "since_build": None if since_build is None else _told(since_build),
        "since_burned": _told(since_burned) if device["burn"]["known"] else "",
        "padding": sum(stretch.last + 1 - stretch.first - stretch.used for stretch in stretches),
        "beyond": device["words"] - sum(stretch.last + 1 - stretch.first for stretch in stretches),
    }


def _stretches(device: DeviceDocument) -> list[_Stretch]:
    """Return a chip's banks in the order of their addresses, as one where they lie between each other's words."""
    banks = sorted(device["banks"], key=lambda bank: bank["first"])
    if not banks:
        if device["last_used"] is None:
            return []
        return [_Stretch(first=0, last=device["last_used"], used=device["used_words"], banks=())]
    if any(one["last"] >= other["first"] for one, other in pairwise(banks)):
        used = sum(bank["used"] for bank in banks)
        return [_Stretch(first=banks[0]["first"], last=max(bank["last"] for bank in banks), used=used, banks=banks)]
    return [_Stretch(first=bank["first"], last=bank["last"], used=bank["used"], banks=[bank]) for bank in banks]


def _row_count(device: DeviceDocument, stretches: Sequence[_Stretch]) -> int:
    """Return in how many rows of equally many words a chip is drawn: a power of two."""
    if len(stretches) < 2:
        return 1
    pitch = min(other.first - one.first for one, other in pairwise(stretches))
    slots = device["words"] // pitch
    wanted = slots / (_IN_A_ROW if slots <= _MANY else _IN_A_LONG_ROW)
    rows = 1
    while rows < min(wanted, _MOST_ROWS) and device["words"] % (2 * rows) == 0:
        rows *= 2
    return rows


def _row(
    device: DeviceDocument, stretches: Sequence[_Stretch], row: int, rows: int, found: Sequence[DeviceChange | None]
) -> Row:
    words = device["words"] // rows
    start, end = row * words, (row + 1) * words
    changed, stale = ({bank["bank"] for bank in one["banks"]} if one else set() for one in found)
    boxes = []
    for stretch in (one for one in stretches if one.first < end and one.last >= start):
        left, right = max(stretch.first, start), min(stretch.last + 1, end)
        own = [bank["bank"] for bank in stretch.banks]
        names = dict.fromkeys(name for bank in stretch.banks for name in bank["pictures"])
        where = f"{address(stretch.first, device['words'])} to {address(stretch.last, device['words'])}"
        label = f"{own[0]}" if len(own) == 1 else f"banks {own[0]} to {own[-1]}, word by word" if own else "in use"
        boxes.append(
            Box(
                left=100 * (left - start) / words,
                width=100 * (right - left) / words,
                bank=own[0] if len(own) == 1 else None,
                label=label if left == stretch.first and (len(own) == 1 or right - left > words / 8) else "",
                title=", ".join([*names, where]),
                used=100 * stretch.used / (stretch.last + 1 - stretch.first),
                changed=bool(changed.intersection(own)),
                stale=bool(stale.intersection(own)),
            )
        )
    per_word = max(1, (device["width"] + 7) // 8)

    def marks(one: DeviceChange | None) -> list[tuple[float, float]]:
        runs = one["runs"] if one else ()
        parts = ((max(first // per_word, start), min(last // per_word + 1, end)) for first, last in runs)
        return [(100 * (left - start) / words, 100 * (right - left) / words) for left, right in parts if left < right]

    used = max((box.used for box in boxes), default=0.0)
    differs, wrong = map(marks, found)
    return Row(first=address(start, device["words"]), used=used, boxes=boxes, changed=differs, stale=wrong)


def _told(found: DeviceChange) -> str:
    if found["differing"] is None:
        return "cannot be compared"
    if not found["differing"]:
        return "no difference"
    amount = f"{counted(found['differing'], 'byte')} differ{'s' * (found['differing'] == 1)}"
    banks = found["banks"]
    if not banks:
        return amount
    if len(banks) == 1 and banks[0]["differing"] == found["differing"]:
        return f"{amount}, in bank {banks[0]['bank']}, {', '.join(banks[0]['pictures'])}"
    named = [
        f"bank {bank['bank']}, {', '.join(bank['pictures'])}, {counted(bank['differing'], 'byte')}"
        for bank in banks[:_MOST_NAMED]
    ]
    named += [f"and {len(banks) - _MOST_NAMED} more banks"] * (len(banks) > _MOST_NAMED)
    rest = found["differing"] - sum(bank["differing"] for bank in banks)
    named += [f"{counted(rest, 'byte')} outside of pictures"] * (rest > 0)
    return f"{amount}: {'; '.join(named)}"
