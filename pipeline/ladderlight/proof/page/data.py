"""What the page embeds, as one JSON document.

``project``, ``tray``
    The project's name, and the number of the tray, null where there is one set of chips only.
``board``
    Raster, counters, wiring and chips; see :func:`board_data`.
``palette``
    ``lines``, bit 0 of a code first, and of each of the three ``guns`` the ``bits`` of a code that move it, with
    ``volts`` and ``srgb``, 0 to 255, by the number that these bits form, the first lowest; with resistors of a
    tolerance also the ``lowest`` and ``highest`` volts. ``fields`` are the codes of each field of the palette's plot,
    in rows, -1 for none.
``memories``
    By name the words as read back from the device files, in pages; see ``storing.py``.
``banks``
    Runs of banks whose screens are equal: ``first`` and ``last`` bank, ``content``, the number of the run's screen
    among the different ones, null where no picture lies, and ``pictures``, numbers in the list of pictures.
``tileSets``
    Of each tile set the ``memory``, the ``width`` and ``height`` of a tile in board pixels, the ``numbers`` of the
    tiles in the map, and ``addresses``, those of all words of the first tile, then of the next: 32 bits each, the low
    byte first, as the difference to the one before, deflated.
``pictures``
    As in the manifest: name, source, bank, frame and duration; and ``view``, the number of its source in the
    list of views, where there is one.
``views``
    Pictures before the reduction: ``data``, a JPEG or WebP of which a pixel is ``down`` board pixels wide and high, and
    ``size`` and ``crop`` in the pixels of its file, null where not known.
``viewing``
    ``distance`` in metres, null where the recipe has none, and ``screenWidth``.
``animation``
    Where a counter steps through banks: the ``first`` and ``last`` of them, and for how many seconds each is shown,
    ``step``; else null.
"""

import json
from collections.abc import Mapping, Sequence
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from ladderlight.board import Board, Memory, Palette
from ladderlight.board.ladders.tolerance import gun_limits
from ladderlight.board.model.lines import Expression
from ladderlight.board.model.raster import Counter
from ladderlight.board.scanning.levels import parity_of
from ladderlight.board.scanning.timing import REGISTER_DELAY, hold_in_counts, is_clocked, picture_delay
from ladderlight.colour.viewing import Viewing
from ladderlight.devices.documents import DeviceDocument, ManifestDocument, PictureDocument
from ladderlight.flow.pictures import SourceView, TileSet
from ladderlight.proof.page.storing import deflated, room_for_views, stored_views, stored_words, text_of
from ladderlight.proof.scanout import Scanned

_PICTURE = ("name", "source", "bank", "frame", "duration")
_PIECE = ("file", "format", "bytes", "first", "step", "order", "offset")


def page_data(
    project: str,
    scanned: Scanned,
    manifest: ManifestDocument,
    *,
    fields: Sequence[Sequence[Sequence[int]]],
    views: Mapping[str, SourceView],
    viewing: Viewing,
    tray: int | None,
    rest: int,
) -> str:
    """Return the document, in which no ``<`` can end the element that holds it, for a page of ``rest`` bytes more."""
    board = scanned.board
    devices = {device["name"]: device for device in manifest["devices"]}
    pictures = [{key: value for key, value in picture.items() if key in _PICTURE} for picture in manifest["pictures"]]
    document: dict[str, object] = {
        "project": project,
        "tray": tray,
        "board": board_data(board, devices),
        "palette": _palette(board.palette) | {"fields": fields},
        "memories": {memory.name: stored_words(board, memory, scanned.words[memory.name]) for memory in board.memories},
        "tileSets": [_tiles(tiles) for tiles in scanned.tile_sets],
        "banks": bank_runs(scanned, manifest["pictures"]),
        "pictures": pictures,
        "viewing": {"distance": viewing.distance, "screenWidth": viewing.screen_width},
        "animation": _animation(manifest["pictures"]),
    }
    size = board.geometry.width, board.geometry.height
    weight = rest + len(_as_text(document).encode())
    document["views"], numbers = stored_views(views, room_for_views(size, len(scanned.distinct), weight))
    for told, picture in zip(pictures, manifest["pictures"], strict=True):
        if picture["name"] in numbers:
            told["view"] = numbers[picture["name"]]
    return _as_text(document)


def _as_text(document: Mapping[str, object]) -> str:
    text = json.dumps(document, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c")


def _animation(pictures: Sequence[PictureDocument]) -> dict[str, object] | None:
    shown = [picture for picture in pictures if picture.get("step")]
    if not shown:
        return None
    banks = [picture["bank"] for picture in shown]
    return {"first": min(banks), "last": max(banks), "step": shown[0]["step"]}


def bank_runs(scanned: Scanned, pictures: Sequence[PictureDocument]) -> list[dict[str, object]]:
    """Return the runs of banks that show the same; see above."""
    here: dict[int, list[int]] = {}
    for at, picture in enumerate(pictures):
        here.setdefault(picture["bank"], []).append(at)

    def kind(bank: int) -> tuple[int | None, tuple[str, ...]]:
        return scanned.contents.get(bank), tuple(pictures[at]["source"] for at in here.get(bank, ()))

    return [
        {
            "first": run[0],
            "last": run[-1],
            "content": content,
            "pictures": list({pictures[at]["name"]: at for bank in run for at in here.get(bank, ())}.values()),
        }
        for (content, _), run in ((key, list(banks)) for key, banks in groupby(range(scanned.board.bank_count), kind))
    ]


def _palette(palette: Palette) -> dict[str, object]:
    bits = range(len(palette.lines))
    codes = np.arange(len(palette))
    limits = gun_limits(palette.ladder, palette.lines)
    guns = []
    for gun in range(3):
        volts = palette.volts[:, gun]
        own = [bit for bit in bits if not np.allclose(volts, volts[codes ^ 1 << bit], rtol=0, atol=1e-12)]
        of = sum((np.arange(1 << len(own)) >> place & 1) << bit for place, bit in enumerate(own)) + np.zeros(1, int)
        found: dict[str, object] = {"bits": own, "volts": _rounded(volts[of]), "srgb": palette.srgb8[of, gun].tolist()}
        if limits:
            found |= {name: _rounded(end[of, gun]) for name, end in zip(("lowest", "highest"), limits, strict=True)}
        guns.append(found)
    return {"lines": list(palette.lines), "guns": guns}


def _rounded(volts: NDArray[np.float64]) -> list[float]:
    return [round(float(volt), 6) for volt in volts]


def _tiles(tiles: TileSet) -> dict[str, object]:
    _, height, width = tiles.codes.shape
    steps = np.diff(tiles.addresses.ravel(), prepend=0).astype("<i4")
    return {
        "memory": tiles.memory,
        "width": width,
        "height": height,
        "numbers": tiles.numbers.tolist(),
        "addresses": text_of(deflated(steps.tobytes())),
    }


def board_data(board: Board, devices: Mapping[str, DeviceDocument]) -> dict[str, object]:
    """Return a board's raster, counters, wiring and chips for JSON, memories such that sources come first."""
    mode, geometry = board.raster.mode, board.geometry
    return {
        "mode": mode.name,
        "clock": float(board.raster.clock),
        "period": float(1 / board.raster.clock),
        "registerDelay": REGISTER_DELAY,
        "frameRate": float(board.raster.frame_rate),
        "picture": {"width": geometry.width, "height": geometry.height, "aspect": geometry.pixel_aspect},
        "screen": {
            "width": mode.horizontal.active,
            "height": mode.vertical.active,
            "aspect": float(mode.screen_aspect),
            "ratio": float(board.raster.ratio),
        },
        "x": _counter(board.x_counter, board.x_shift),
        "y": _counter(board.y_counter, board.y_shift),
        "undefinedKnown": all(memory.access is not None for memory in board.picture_memories),
        "blankingDelay": board.counters.blanking_delay,
        "counterDelay": board.counters.delay,
        "banks": board.bank_count,
        "bankLines": list(board.bank_lines),
        "memories": [_memory(board, memory, devices) for memory in board.order],
        "code": [
            {"line": name, "memory": board.outputs[name].memory, "pin": board.outputs[name].index}
            for name in board.code_lines
        ],
        "black": board.palette.black_code,
        "pictureDelay": picture_delay(board),
    }


def _counter(counter: Counter, shift: int) -> dict[str, int]:
    return {
        "reset": counter.reset_to,
        "ahead": counter.ahead,
        "total": counter.counts.total,
        "visible": counter.counts.visible,
        "bits": counter.bits,
        "shift": shift,
    }


def _memory(board: Board, memory: Memory, devices: Mapping[str, DeviceDocument]) -> dict[str, object]:
    packing = memory.packing
    return {
        "name": memory.name,
        "part": memory.part.number,
        "words": memory.words,
        "width": memory.part.width,
        "output": memory.output,
        "access": memory.access,
        "hold": hold_in_counts(board, memory),
        "clocked": is_clocked(board, memory),
        "shifts": [memory.shift_of(slot) for slot in range(packing.pixels)],
        "pixelWidth": memory.pixel_width,
        "select": board.first_select_bit(memory) if packing.pixels > 1 else 0,
        "pins": [_pin(board, expression) for expression in memory.address],
        "data": list(memory.data),
        "drives": memory in board.driving_memories,
        "chips": [
            {
                "name": device.name,
                "socket": board.sockets[device.name],
                "first": device.first_word,
                "words": device.part.words,
                "files": [
                    {key: value for key, value in piece.items() if key in _PIECE}
                    for piece in devices[device.name]["pieces"]
                ],
            }
            for device in memory.devices
        ],
    }


def _pin(board: Board, expression: Expression) -> dict[str, object]:
    """Return a pin as the exclusive-or of a level and of lines, by signal and bit; outputs with their memory."""
    parity = parity_of(board, expression)
    counters = [{"signal": signal.value, "bit": bit} for signal, bit in sorted(parity.counters, key=str)]
    outputs = [{"signal": "output", "memory": name, "bit": bit} for name, bit in sorted(parity.outputs)]
    return {"text": str(expression), "level": parity.level, "lines": counters + outputs}
