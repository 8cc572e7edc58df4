"""The report of a board: all that follows from its declaration, as plain values for ``check --json``."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from ladderlight.board.advice.checks import problems_of
from ladderlight.board.ladders.report import ladder_document
from ladderlight.board.model.board import Board
from ladderlight.board.model.raster import Counter
from ladderlight.board.scanning.blanking import darkness_of
from ladderlight.board.scanning.extent import extent_of
from ladderlight.board.scanning.timing import picture_delay, timings
from ladderlight.errors import Finding, is_refused


def report(board: Board, found: Sequence[Finding]) -> dict[str, Any]:
    """Return a description of a board and its findings in plain values: texts, numbers, booleans, None and lists.

    Frequencies are in hertz, voltages in volts, times in nanoseconds where the key says so. For a board that cannot
    work there are only ``ok`` and ``findings``.
    """
    document: dict[str, Any] = {"ok": not is_refused(found)}
    if not problems_of(board):
        document |= {
            "picture": asdict(board.geometry) | {"banks": board.bank_count},
            "raster": _raster(board),
            "palette": [
                {"code": code, "volts": [round(float(volt), 6) for volt in volts], "srgb": board.palette.hex_of(code)}
                for code, volts in enumerate(board.palette.volts)
            ],
            "ladder": ladder_document(board.ladder),
            "memories": _memories(board),
            "devices": _devices(board),
            "timing": _timing(board),
            "blanking": _blanking(board),
        }
    return document | {"findings": list(map(asdict, found))}


def _raster(board: Board) -> dict[str, Any]:
    raster = board.raster
    return {
        "mode": raster.mode.name,
        "clock_hz": float(raster.clock),
        "dot_clock_hz": float(raster.mode.dot_clock),
        "counts_per_dot": float(raster.ratio),
        "whole": raster.whole,
        "deviation": raster.deviation,
        "line_rate_hz": float(raster.line_rate),
        "frame_rate_hz": float(raster.frame_rate),
        "x": _counts(board.x_counter),
        "y": _counts(board.y_counter),
        "hsync_positive": raster.mode.horizontal.positive,
        "vsync_positive": raster.mode.vertical.positive,
    }


def _counts(counter: Counter) -> dict[str, int]:
    return {
        "visible": counter.counts.visible,
        "start": counter.start,
        "blanking_start": counter.blanking_start,
        "sync_start": counter.sync_start,
        "sync_end": counter.sync_end,
        "blanking_end": counter.blanking_end,
        "last": counter.last,
        "reset_to": counter.reset_to,
        "total": counter.counts.total,
    }


def _memories(board: Board) -> list[dict[str, Any]]:
    return [
        {
            "name": memory.name,
            "part": memory.part.number,
            "words": memory.words,
            "width": memory.part.width,
            "chips": memory.chips,
            "grades_ns": [round(grade * 1e9, 3) for grade in memory.part.grades],
            "address": [str(expression) for expression in memory.address],
            "data": list(memory.data),
            "output": memory.output,
            "packing": {"pixels": memory.packing.pixels, "order": memory.packing.order},
            "stride": extent.stride if extent else None,
            "last_word": extent.last if extent else None,
            "used_words": extent.used if extent else None,
            "fill": memory.fill_word,
            "addressed_by": list(board.sources[memory.name]),
        }
        for memory, extent in ((memory, extent_of(board, memory)) for memory in board.memories)
    ]


def _devices(board: Board) -> list[dict[str, Any]]:
    return [
        {
            "name": device.name,
            "memory": device.memory,
            "part": device.part.number,
            "words": device.part.words,
            "width": device.part.width,
            "bytes": device.part.bytes,
            "first_word": device.first_word,
            "erasure": device.part.erasure,
        }
        for device in board.devices
    ]


def _timing(board: Board) -> dict[str, dict[str, float | None]]:
    dots = float(board.raster.mode.dot_clock)
    return {
        name: {
            "hold_ns": _rounded(timing.hold, 1e9),
            "access_ns": _rounded(timing.access, 1e9),
            "margin_ns": _rounded(timing.margin, 1e9),
            "left_ns": _rounded(timing.left, 1e9),
            "old_ns": _rounded(timing.old, 1e9),
            "undefined_ns": _rounded(timing.undefined, 1e9),
            "old_pixels": _rounded(timing.old, dots),
            "undefined_pixels": _rounded(timing.undefined, dots),
            "undefined_share": None if timing.undefined_share is None else round(timing.undefined_share, 6),
        }
        for name, timing in timings(board).items()
    }


def _rounded(seconds: float | None, scale: float) -> float | None:
    return None if seconds is None else round(seconds * scale, 3)


def _blanking(board: Board) -> dict[str, Any]:
    darkness = darkness_of(board)
    return {
        "way": board.blanking,
        "volts": None if darkness.volts is None else [round(volts, 6) for volts in darkness.volts],
        "dark": darkness.dark,
        "fillable": darkness.fillable,
        "shared_words": {shared.memory: shared.words for shared in darkness.shared},
        "delay": board.counters.blanking_delay,
        "delay_needed": picture_delay(board),
    }
