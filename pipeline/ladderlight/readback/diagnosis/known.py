"""Contents that a healthy chip may hold in place of those that it should: earlier, another device's or recipe's."""

import hashlib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Literal

import numpy as np

from ladderlight.board import Board, Device
from ladderlight.devices.files import bytes_of, words_of
from ladderlight.errors import DocumentError
from ladderlight.readback.diagnosis.faults import Fault, fixed
from ladderlight.readback.dumps import Reading
from ladderlight.recipe import Recipe
from ladderlight.units.arrays import MemoryWords
from ladderlight.workspace.manifest import read_manifest
from ladderlight.workspace.models import Chip, Record
from ladderlight.workspace.recorded import key_of

Set = tuple[str | None, str | None, int]
"""A set of chips: recipe, revision and tray."""
Build = tuple[Literal["other_device", "other_recipe"], str, Path]
"""The kind of fault that a build of others is, whose it is, in words, and its output folder."""


def known_contents(
    recipe: Recipe, record: Record | None, wanted: MemoryWords, tray: int | None = None
) -> Callable[[Reading], list[Fault]]:
    """Return what gives the contents to try for what was read of a tray's device: recorded ones, others' builds."""
    others = [(f" of {other.name}", output) for other in recipe.neighbours for output in other.outputs]
    ours = {recipe.output: ""} | {
        recipe.output.with_name(name): f" of revision {name}" for name in recipe.revisions if name != recipe.revision
    }
    builds: list[Build] = [("other_device", whose, output) for output, whose in ours.items()]
    builds += [("other_recipe", whose, output) for whose, output in others if output.resolve() not in ours]
    built = {device.name: device.words(wanted) for device in recipe.board.devices}

    def known(reading: Reading) -> list[Fault]:
        recorded = recorded_contents(record, (key_of(recipe), recipe.revision, tray or 1), reading.device, built)
        return [*recorded, *other_builds(builds, (tray, recipe.output), reading)]

    return known


def other_devices(board: Board, device: Device, wanted: MemoryWords) -> Iterator[Fault]:
    """Yield what the board's other devices of the same size should hold."""
    for other in board.devices:
        alike = (other.part.words, other.part.width) == (device.part.words, device.part.width)
        if other.name != device.name and alike:
            text = f"the chip holds what device {other.name!r} should hold"
            yield fixed("other_device", text, other.words(wanted))


def recorded_contents(record: Record | None, own: Set, device: Device, built: MemoryWords) -> Iterator[Fault]:
    """Yield what a folder's record has of chips of the same size: of this one, of its set, its recipe, and others.

    ``own`` is the set of chips that the device is of. Contents of its last build, whose words ``built`` has by device,
    are left out where they are this device's or the recorded chip's: they are not the previous ones.
    """

    def order(chip: Chip) -> tuple[bool, bool, bool]:
        return chip.recipe != own[0], chip.key[:3] != own, chip.device != device.name

    for chip in sorted(record.chips if record else (), key=order):
        if chip.bytes != device.part.bytes or chip.contents is None:
            continue
        words = words_of(chip.contents.tobytes(), device.part.width)
        in_set = chip.key[:3] == own
        current = {device.name, chip.device} if in_set else {device.name}
        if any(np.array_equal(words, built[name]) for name in current & built.keys()):
            continue
        if not any(order(chip)):
            yield fixed("earlier_burn", "the chip holds the previous build, as recorded when it was burned", words)
        elif in_set:
            yield fixed("other_device", f"the chip holds the previous build of device {chip.device!r}", words)
        elif chip.recipe == own[0]:
            whose = f" of revision {chip.revision}" if chip.revision != own[1] else ""
            text = f"the chip holds the contents recorded for device {chip.device!r}{whose}, tray {chip.tray}"
            yield fixed("other_device", text, words)
        else:
            whose = f" of {chip.recipe}" if chip.recipe else ""
            text = f"the chip holds the contents recorded for device {chip.device!r}{whose}"
            yield fixed("other_recipe", text, words)


def other_builds(builds: Sequence[Build], own: tuple[int | None, Path], reading: Reading) -> Iterator[Fault]:
    """Yield what was read when it is just what the last build of another tray, revision or recipe has for a device.

    ``own`` is the tray of the device that was read, and its folder. Only manifests are read: the digest of a device's
    bytes, in the byte order of its files.
    """
    if not reading.complete:
        return
    device = reading.device
    digests = {
        hashlib.sha256(bytes_of(reading.words, device.part.width, order)).hexdigest() for order in ("little", "big")
    }
    for kind, whose, output in builds:
        try:
            manifest = read_manifest(output)
        except DocumentError:
            continue
        for built in manifest["devices"] if manifest else ():
            number = built.get("tray")
            if (number, output) == own or built["bytes"] != device.part.bytes or built["sha256"] not in digests:
                continue
            tray = "" if number is None else f", tray {number}"
            text = f"the chip holds the last build of device {built['name']!r}{whose}{tray}"
            yield fixed(kind, text, reading.words)
