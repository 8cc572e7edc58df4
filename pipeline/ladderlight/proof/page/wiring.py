"""A board as the page's scripts scan it."""

from __future__ import annotations

from collections.abc import Mapping

from ladderlight.board import Board, Memory
from ladderlight.board.model.lines import Expression
from ladderlight.board.model.raster import Counter
from ladderlight.board.scanning.levels import parity_of
from ladderlight.board.scanning.timing import REGISTER_DELAY, hold_in_counts, picture_delay
from ladderlight.devices.documents import DeviceDocument

_PIECE = ("file", "format", "bytes", "first", "step", "order", "offset")


def board_data(board: Board, devices: Mapping[str, DeviceDocument]) -> dict[str, object]:
    """Return a board's raster, counters, wiring and chips for JSON, memories such that sources come first.

    Parameters
    ----------
    board
        The board.
    devices
        The manifest's devices, by name.
    """
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
    hold = hold_in_counts(board, memory)
    packing = memory.packing
    return {
        "name": memory.name,
        "part": memory.part.number,
        "words": memory.words,
        "width": memory.part.width,
        "output": memory.output,
        "access": memory.access,
        "hold": hold,
        "clocked": memory.output == "register" and hold < board.raster.x.total,
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
