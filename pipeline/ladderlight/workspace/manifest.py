"""The manifest: what a build has written, as plain values."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

from ladderlight.board import Board, Device
from ladderlight.board.scanning.scan import is_direct
from ladderlight.devices.checksums import checksums_of
from ladderlight.devices.files import bytes_of, span_bytes, words_of
from ladderlight.devices.formats import format_of
from ladderlight.devices.occupancy import Occupancy, occupancies_of
from ladderlight.flow.pictures import Contents, DeviceFile, PlacedPicture, Span
from ladderlight.system.versions import changed_versions
from ladderlight.units.arrays import MemoryWords
from ladderlight.workspace.burned import Chip, burn_of, device_image

FORMAT = 1

Details = Mapping[str, Mapping[str, Any]]
Merged = Mapping[tuple[str, int], Mapping[str, float]]


def manifest(
    *,
    project: str,
    board: Board,
    contents: Contents,
    files: Sequence[DeviceFile],
    words: MemoryWords,
    burned: Mapping[str, Chip] | None = None,
    details: Details | None = None,
    merged: Merged | None = None,
    inputs: Sequence[Mapping[str, Any]] = (),
    versions: Mapping[str, str] | None = None,
) -> dict[str, Any]:
    """Describe a build. The same inputs and versions give the same manifest; nothing in it depends on the time.

    Parameters
    ----------
    project
        The project's name.
    board, contents
        The board, and what was arranged for its memories.
    files
        All files under ``devices/``.
    words
        The memories' words as read back from those files.
    burned
        What is in the chips, by device, see :mod:`ladderlight.workspace.burned`.
    details
        More about some pictures, by name: ``metrics``, and what the stages chose.
    merged
        Metrics of pictures that are not shown as they were reduced, by name and bank; they win over those of
        ``details``.
    inputs
        The files that the build is made from, each with ``file``, ``bytes`` and ``sha256``.
    versions
        Of Ladderlight and of what computes, see :mod:`ladderlight.system.versions`.
    """
    occupancies = occupancies_of(board, contents)
    digest = digest_of_inputs(inputs)

    def device_of(device: Device) -> dict[str, Any]:
        chip = (burned or {}).get(device.name)
        same = chip is not None and digest is not None and chip.inputs == digest
        cause = changed_versions(chip.versions or {}, versions or {}) if chip is not None and same else ""
        cause = cause and f" because of {cause} (same inputs)"
        return _device(device, occupancies[device.name], files, words, chip, cause)

    return {
        "format": FORMAT,
        "project": project,
        "devices": [device_of(device) for device in board.devices],
        "inputs": [dict(item) for item in inputs],
        "versions": dict(versions or {}),
        "notes": list(contents.notes),
        "pictures": [
            _picture(
                board,
                placed,
                (details or {}).get(placed.origin.name, {}),
                (merged or {}).get((placed.origin.name, placed.bank), {}),
            )
            for placed in contents.pictures
        ],
    }


def digest_of_inputs(inputs: Sequence[Mapping[str, Any]]) -> str | None:
    """Return one SHA-256 for all files that a build is made from; None when nothing is known of them."""
    listed = [[item["file"], item["bytes"], item["sha256"]] for item in inputs]
    return hashlib.sha256(json.dumps(listed).encode()).hexdigest() if listed else None


def _device(
    device: Device,
    occupancy: Occupancy,
    files: Sequence[DeviceFile],
    words: MemoryWords,
    chip: Chip | None,
    cause: str,
) -> dict[str, Any]:
    own = [file for file in files if file.device == device.name]
    held = [(file, file.span) for file in own if file.span is not None]
    image = device_image(words, device)
    shown = _in_order(image, device, held[0][1].order if held else "little")
    burn = burn_of(chip, device, image, cause=cause)
    return {
        "name": device.name,
        "memory": device.memory,
        "part": device.part.number,
        "file": held[0][0].name if held else None,
        "files": [file.name for file in own],
        "bytes": len(image),
        **checksums_of(shown),
        "changed": burn.needed,
        "burn": {
            "known": burn.known,
            "differing": burn.differing,
            "erasure": burn.erasure,
            "text": burn.text,
            "eraser": burn.eraser,
            "block": burn.block,
            "block_count": burn.block_count,
            "blocks": None if burn.blocks is None else [{"first": a, "last": b} for a, b in burn.blocks],
        },
        "words": device.part.words,
        "width": device.part.width,
        "first_word": device.first_word,
        "used_words": occupancy.used,
        "free_words": occupancy.free,
        "last_used": occupancy.last_used,
        "banks": [
            {"bank": bank.bank, "pictures": list(bank.pictures), "first": bank.first, "last": bank.last}
            for bank in occupancy.banks
        ],
        "pieces": [_piece(file, span, image, device) for file, span in held],
    }


def _piece(file: DeviceFile, span: Span, image: bytes, device: Device) -> dict[str, Any]:
    data = span_bytes(_in_order(image, device, span.order), span)
    return {
        "file": file.name,
        "format": format_of(file.data),
        "bytes": len(data),
        **checksums_of(data),
        "first": span.first,
        "step": span.step,
        "order": span.order,
        "offset": span.offset,
    }


def _in_order(image: bytes, device: Device, order: str) -> bytes:
    return image if order == "little" else bytes_of(words_of(image, device.part.width), device.part.width, "big")


def _picture(
    board: Board, placed: PlacedPicture, details: Mapping[str, Any], merged: Mapping[str, float]
) -> dict[str, Any]:
    shown = [memory.name for memory in board.driving_memories]
    direct = [memory.name for memory in board.memories if is_direct(board, memory)]
    memories = [name for name in shown if name in direct] or direct
    origin = placed.origin
    return {
        "name": origin.name,
        "source": origin.source,
        "frame": origin.frame,
        "duration": origin.duration,
        "memory": memories[0] if memories else None,
        "memories": memories,
        "bank": placed.bank,
        **details,
        **({"metrics": {**details.get("metrics", {}), **merged}} if merged else {}),
    }
