"""The description of a build: its devices, files and pictures, as its manifest has them."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from functools import cache, partial
from typing import TYPE_CHECKING, Any

from ladderlight.board import Board, Device
from ladderlight.board.scanning.scan import is_direct
from ladderlight.devices.documents import Checksums, ManifestDocument
from ladderlight.devices.files import bytes_of, checksums_of, span_bytes, words_of
from ladderlight.devices.formats import format_of
from ladderlight.devices.occupancy import Occupancy, occupancies_of
from ladderlight.flow.pictures import ByteOrder, Contents, DeviceFile, PlacedPicture, Span
from ladderlight.system.versions import changed_versions
from ladderlight.workspace.burned import Burn, burn_of
from ladderlight.workspace.manifest import FORMAT

if TYPE_CHECKING:
    from ladderlight.workspace.models import Chip

Details = Mapping[str, Mapping[str, Any]]
Merged = Mapping[tuple[str, int], Mapping[str, float]]
_Table = dict[str, object]
_BURN = ("known", "differing", "erasure", "text", "eraser", "block", "block_count")
_OWN = {"name", "tray", "source", "frame", "duration", "memory", "memories", "bank", "step", "screen"}
"""Keys of pictures that no note of a stage takes."""


def describe(
    *,
    project: str,
    board: Board,
    contents: Contents,
    files: Sequence[DeviceFile],
    images: Mapping[str, bytes],
    screens: Mapping[int, str] | None = None,
    burned: Mapping[str, Chip] | None = None,
    details: Details | None = None,
    merged: Merged | None = None,
    digest: str | None = None,
    versions: Mapping[str, str] | None = None,
    revision: str | None = None,
    tray: int | None = None,
) -> ManifestDocument:
    """Return the manifest of a build, or of a tray of it.

    The same inputs and versions give the same one; it does not depend on the time.

    Parameters
    ----------
    files, images
        All files under ``devices/``, and what they make of each device: by name, low byte of each word first.
    screens
        The file of the proof that shows each bank.
    burned
        What is in the chips, by device.
    details, merged
        ``metrics`` of pictures and what the stages chose, by name; and metrics of pictures that are not shown as they
        were reduced, by name and bank, which win over those.
    digest
        Of the files that the build is made from; a tray has no list of them.
    revision, tray
        Of a recipe that has several boards, and of a build that has several sets of chips.
    """
    occupancies = occupancies_of(board, contents)
    own_tray = {} if tray is None else {"tray": tray}
    devices = []
    for device in board.devices:
        chip = (burned or {}).get(device.name)
        same = chip is not None and digest is not None and chip.inputs == digest
        cause = changed_versions(chip.versions or {}, versions or {}) if chip is not None and same else ""
        image = images[device.name]
        burn = burn_of(chip, device, image, cause=cause and f" because of {cause} (same inputs)")
        own = [file for file in files if file.device == device.name]
        devices.append(_device(device, image, burn, occupancies[device.name], own, own_tray))
    shown = [memory.name for memory in board.driving_memories]
    direct = [memory.name for memory in board.memories if is_direct(board, memory)]
    picture = partial(_picture, [name for name in shown if name in direct] or direct)
    made = {
        "format": FORMAT,
        "project": project,
        **({} if revision is None else {"revision": revision}),
        "devices": devices,
        "inputs": (),
        "versions": versions or {},
        "notes": contents.notes if tray is None else [f"tray {tray}: {note}" for note in contents.notes],
        "pictures": [
            picture(
                placed,
                (details or {}).get(placed.origin.name, {}),
                (merged or {}).get((placed.origin.name, placed.bank), {}),
                own_tray,
                (screens or {}).get(placed.bank),
            )
            for placed in contents.pictures
        ],
    }
    document: ManifestDocument = json.loads(json.dumps(made))
    return document


def _device(
    device: Device,
    image: bytes,
    burn: Burn,
    occupancy: Occupancy,
    files: Sequence[DeviceFile],
    tray: Mapping[str, int],
) -> _Table:
    ordered = cache(partial(in_order, image, device.part.width))
    sums = cache(checksums_of)  # a file often holds all of the image
    held = [(file, file.span) for file in files if file.span is not None]
    blocks = None if burn.blocks is None else [{"first": a, "last": b} for a, b in burn.blocks]
    return {
        "name": device.name,
        **tray,
        "memory": device.memory,
        "part": device.part.number,
        "file": held[0][0].name if held else None,
        "files": [file.name for file in files],
        "bytes": len(image),
        **sums(ordered(held[0][1].order if held else "little")),
        "changed": burn.needed,
        "burn": {**{name: getattr(burn, name) for name in _BURN}, "blocks": blocks},
        "words": device.part.words,
        "width": device.part.width,
        "first_word": device.first_word,
        "used_words": occupancy.used,
        "free_words": device.part.words - occupancy.used,
        "last_used": occupancy.last_used,
        "banks": occupancy.banks,
        "pieces": [_piece(file, span, span_bytes(ordered(span.order), span), sums) for file, span in held],
    }


def _piece(file: DeviceFile, span: Span, data: bytes, sums: Callable[[bytes], Checksums]) -> _Table:
    return {
        "file": file.name,
        "format": format_of(file.data),
        "bytes": len(data),
        **sums(data),
        "first": span.first,
        "step": span.step,
        "order": span.order,
        "offset": span.offset,
    }


def in_order(image: bytes, width: int, order: ByteOrder) -> bytes:
    """Return a device's image whose words of ``width`` bits have their bytes in this order, not low byte first."""
    return image if order == "little" else bytes_of(words_of(image, width), width, order)


def _picture(
    memories: Sequence[str],
    placed: PlacedPicture,
    details: Mapping[str, Any],
    merged: Mapping[str, float],
    tray: Mapping[str, int],
    screen: str | None,
) -> _Table:
    origin = placed.origin
    entry: _Table = {
        "name": origin.name,
        **tray,
        "source": origin.source,
        "frame": origin.frame,
        "duration": origin.duration,
        "memory": memories[0] if memories else None,
        "memories": memories,
        "bank": placed.bank,
        **({} if placed.step is None else {"step": placed.step}),
        **({} if screen is None else {"screen": screen}),
    }
    metrics = {"metrics": {**details.get("metrics", {}), **merged}} if merged else {}
    notes = {key: value for key, value in {**details, **metrics}.items() if key not in _OWN}
    return {**entry, **notes}
