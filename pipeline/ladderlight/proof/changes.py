"""What a build changes: against the build before it, and against what the chips hold.

The document ``proof/changes.json`` keeps the first of these until a build gives something else, so that building again
changes nothing. Pictures are compared by the screens that the proof of the earlier build has, whatever its board was.
"""

import base64
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import field
from functools import cache, lru_cache
from hashlib import sha256
from operator import itemgetter
from pathlib import Path
from typing import Any, Literal, NotRequired, TypedDict

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board
from ladderlight.devices.documents import ManifestDocument
from ladderlight.devices.occupancy import differing_by_bank, runs
from ladderlight.flow.images import MOST_INDEXED
from ladderlight.proof.screens import Screen, Shown
from ladderlight.storage.stopping import side_by_side
from ladderlight.storage.writing import read_regular
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Bytes

FILE = "changes.json"
FORMAT = 1
MOST_SHOWN = 6
"""Pictures of which the page shows the screens before and after."""
_MOST_BYTES = 120_000  # of these screens in all, but for the first pair
_earlier = lru_cache(maxsize=2 * MOST_SHOWN)(Shown.of)  # trays may show the same, and it is made small as well


class BankChange(TypedDict):
    """How many bytes of a bank differ."""

    bank: int
    pictures: Sequence[str]
    differing: int


class DeviceChange(TypedDict):
    """How a device differs from earlier bytes: ``differing`` in all, None where these are not known.

    ``runs`` has the first and the last byte of each run of bytes that differ, gaps of up to 1/256 of the device left
    out.
    """

    device: str
    differing: int | None
    banks: Sequence[BankChange]
    runs: Sequence[tuple[int, int]]


class PictureChange(TypedDict):
    """How a picture differs: bank and name, those before, share of pixels, and PNG files of its screens in base 64."""

    name: str
    bank: int | None
    was: int | None
    state: Literal["new", "changed", "moved", "renamed", "gone", "unknown"]
    earlier: NotRequired[str]
    share: NotRequired[float | None]
    before: NotRequired[str]
    after: NotRequired[str]


class Changes(TypedDict):
    """What a build changes; ``before`` is whether there was a build before it."""

    format: NotRequired[int]
    before: bool
    devices: Sequence[DeviceChange]
    pictures: Sequence[PictureChange]


class EarlierBuild(Frozen):
    """What the output folder held before this build.

    ``devices`` are the SHA-256 of the devices by name, ``pictures`` the banks by the names of their pictures,
    ``screens`` the files of their screens, by the same names, and ``document`` what that build changed.
    """

    devices: Mapping[str, str]
    pictures: Mapping[str, int]
    screens: Mapping[str, Path]
    document: Changes | None
    images: Callable[[], Mapping[str, Bytes]]
    """Reads the bytes of each device; those that cannot be read are left out."""

    def screen(self, name: str) -> bytes | None:
        """Read the screen of a picture; None where it cannot be read."""
        try:
            return read_regular(self.screens[name]) if name in self.screens else None
        except OSError:
            return None


class Before(Frozen):
    """What there was before a build: an earlier one, and the bytes of the chips that were burned, by device."""

    build: EarlierBuild | None = None
    chips: Mapping[str, Bytes] = field(default_factory=dict)


_NOTHING: Changes = {"before": False, "devices": [], "pictures": []}


def changes_document(
    board: Board,
    images: Mapping[str, bytes],
    manifest: ManifestDocument,
    screens: Mapping[int, Screen],
    before: EarlierBuild | None,
) -> Changes:
    """Return what a build changes against the one before, if any, as plain values.

    ``images`` are each device's bytes, ``screens`` those of the build by bank.
    """
    kept: Changes = {"format": FORMAT, **((before and before.document) or _NOTHING)}
    if before is None:
        return kept
    devices = {device["name"]: device["sha256"] for device in manifest["devices"]}
    pictures = {picture["name"]: picture["bank"] for picture in manifest["pictures"]}
    if (devices, pictures) == (before.devices, before.pictures) and all(
        before.screen(name) == screens[bank].png for name, bank in pictures.items()
    ):
        return kept
    chips = list(device_changes(board, images, manifest, before.images()))
    shown = _with_screens(_pictures(pictures, screens, before))
    if not shown and all(chip["differing"] == 0 for chip in chips):
        return kept
    return {"format": FORMAT, "before": True, "devices": chips, "pictures": shown}


def device_changes(
    board: Board, images: Mapping[str, bytes], manifest: ManifestDocument, before: Mapping[str, Bytes]
) -> Iterator[DeviceChange]:
    """Yield how each device differs from earlier bytes."""
    for device, entry in zip(board.devices, manifest["devices"], strict=True):
        old, new = before.get(device.name), np.frombuffer(images[device.name], dtype=np.uint8)
        if old is None or old.size != new.size:
            yield {"device": device.name, "differing": None, "banks": [], "runs": []}
            continue
        differs = old != new
        counts = differing_by_bank(board, device, [bank["bank"] for bank in entry["banks"]], differs)
        yield {
            "device": device.name,
            "differing": int(np.count_nonzero(differs)),
            "banks": [
                {"bank": bank["bank"], "pictures": list(bank["pictures"]), "differing": count}
                for bank, count in zip(entry["banks"], counts, strict=True)
                if count
            ],
            "runs": list(runs(np.flatnonzero(differs), gap=max(1, differs.size // 256))),
        }


_Pair = tuple[PictureChange, tuple[bytes | None, Screen] | None]
"""A picture's change, with its screens before and after, both whole."""


def _pictures(pictures: Mapping[str, int], screens: Mapping[int, Screen], before: EarlierBuild) -> Iterator[_Pair]:
    """Yield what changed of each picture, in the order of the banks; those that are gone come last."""
    earlier = _renamed(pictures, screens, before)
    same = [name for name in pictures if name in before.pictures]
    compared = cache(_compared)  # equal screens are: a picture shown several times, or a still part of an animation
    shares = side_by_side(lambda name: compared(before.screen(name), screens[pictures[name]]), same)
    changed = dict(zip(same, shares, strict=True))
    for name, bank in sorted(pictures.items(), key=itemgetter(1)):
        was = before.pictures.get(earlier.get(name, name))
        if was is None:
            yield {"name": name, "bank": bank, "was": None, "state": "new"}, None
        elif name in earlier:
            yield {"name": name, "bank": bank, "was": was, "state": "renamed", "earlier": earlier[name]}, None
        elif isinstance(share := changed[name], str):
            yield {"name": name, "bank": bank, "was": was, "state": "unknown"}, None
        elif share != 0:
            about: PictureChange = {"name": name, "bank": bank, "was": was, "state": "changed", "share": share}
            yield about, (before.screen(name), screens[bank])
        elif was != bank:
            yield {"name": name, "bank": bank, "was": was, "state": "moved"}, None
    for name, was in sorted(before.pictures.items(), key=itemgetter(1)):
        if name not in pictures and name not in earlier.values():
            yield {"name": name, "bank": None, "was": was, "state": "gone"}, None


def _compared(old: bytes | None, new: Screen) -> float | Literal["unknown"] | None:
    """Return the share of pixels that differ between two screens; None for screens of different sizes."""
    if old == new.png:
        return 0.0
    shown, now = _earlier(old), new.shown
    if shown is None or now is None:
        return "unknown"
    if shown.numbers.shape != now.numbers.shape:
        return None
    before, after = _numbered(shown, now) or (shown.colours, now.colours)
    return np.count_nonzero(before != after) / now.numbers.size


def _numbered(*screens: Shown) -> list[NDArray[Any]] | None:
    """Return the pixels of screens as bytes that are equal where their colours are: compared in a third less time.

    None where the colours are too many.
    """
    palettes = [screen.palette for screen in screens if screen.palette is not None]
    if len(palettes) < len(screens):
        return None
    colours, numbers = np.unique(np.concatenate(palettes), return_inverse=True)
    if colours.size > MOST_INDEXED:
        return None
    tables = np.split(numbers.astype(np.uint8), np.cumsum([palette.size for palette in palettes])[:-1])
    return [
        np.frombuffer(screen.numbers.tobytes().translate(bytes(table).ljust(MOST_INDEXED, bytes(table[-1:]))), np.uint8)
        for screen, table in zip(screens, tables, strict=True)
    ]


def _renamed(pictures: Mapping[str, int], screens: Mapping[int, Screen], before: EarlierBuild) -> dict[str, str]:
    """Return the earlier names of new pictures that look as one does that is gone, best in the same bank."""
    gone = {name: bank for name, bank in before.pictures.items() if name not in pictures}
    new = {name: bank for name, bank in pictures.items() if name not in before.pictures}
    if not gone or not new:
        return {}
    looks: dict[bytes, list[str]] = {}
    for name in gone:
        shown = Shown.of(before.screen(name))
        if shown is not None:
            looks.setdefault(_look(shown), []).append(name)
    found = {}
    for name, bank in sorted(new.items(), key=itemgetter(1)):
        now = screens[bank].shown
        alike = [] if now is None else looks.get(_look(now), [])
        if alike:
            found[name] = min(alike, key=lambda old: (gone[old] != bank, gone[old]))
            alike.remove(found[name])
    return found


def _look(screen: Shown) -> bytes:
    colours = screen.colours
    return sha256(repr(colours.shape).encode() + colours.tobytes()).digest()


def _with_screens(pairs: Iterable[_Pair]) -> list[PictureChange]:
    """Put the screens of the first few pictures into what is said of them."""
    found, shown, left = [], 0, _MOST_BYTES
    for about, screens in pairs:
        found.append(about)
        if screens is None or shown == MOST_SHOWN or left <= 0:
            continue
        both = _earlier(screens[0]), screens[1].shown
        smaller = [screen.small for screen in both if screen is not None]
        left -= sum(map(len, smaller))
        if len(smaller) == 2 and (left >= 0 or not shown):
            shown += 1
            about["before"], about["after"] = (base64.b64encode(png).decode("ascii") for png in smaller)
    return found
