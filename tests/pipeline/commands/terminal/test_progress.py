"""Progress over pictures."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest

from ladderlight import commands
from ladderlight.commands.terminal import progress
from ladderlight.commands.terminal.progress import pace, picture_progress
from ladderlight.errors import Fault


@pytest.mark.parametrize(
    ("done", "total", "seconds", "words"),
    [
        (0, 10, 1.0, ""),
        (50, 200, 10.0, "5 a second, 0:30 left"),
        (1, 10, 4.0, "4 s each, 0:36 left"),
        (2, 10_002, 1.0, "2 a second, 1:23:20 left"),
        (1234, 1234, 100.0, "12.3 a second, 0:00 left"),
    ],
)
def test_the_pace_is_the_mean_so_far(done: int, total: int, seconds: float, words: str) -> None:
    assert pace(done, total, seconds) == words


def test_without_a_terminal_a_line_comes_now_and_then(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # The first picture waits for loops to be compiled: that does not count.
    clock = iter([100.0, *(300.0 + 4 * step for step in range(8))])
    monkeypatch.setattr(progress.time, "monotonic", lambda: next(clock))
    with picture_progress() as (advance, _):
        assert advance is not None
        for done in range(1, 9):
            advance(done * 250, 4000, f"{done}.png")
    assert capsys.readouterr().err == (
        "250 of 4,000 pictures\n"
        "1,000 of 4,000 pictures, 62.5 a second, 0:48 left\n"
        "1,750 of 4,000 pictures, 62.5 a second, 0:36 left\n"
    )


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_on_a_terminal_a_bar_shows_rate_and_time_left_below_bad_pictures(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = _Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setenv("COLUMNS", "120")
    with picture_progress() as (advance, refused):
        assert advance is not None
        assert refused is not None
        advance(1, 10, "sky.png")
        advance(2, 10, "sea.png")
        refused(Fault(where="gull.png", message="is \x1b[31mcut short"))
    shown = terminal.getvalue()
    assert "gull.png: is \\x1b[31mcut short\n" in shown
    assert "2/10" in shown
    assert " left sea.png" in shown


def test_quiet_shows_nothing() -> None:
    with picture_progress(quiet=True) as shown:
        assert shown == (None, None)


def test_bad_pictures_are_reported_at_once_and_again_at_the_end(sign: Path, capsys: pytest.CaptureFixture[str]) -> None:
    board = sign.parent / "boards" / "sign.toml"
    board.write_text(board.read_text(encoding="utf-8").replace('"y5-y8"]', '"y5-y8", "bank0-bank2"]'), encoding="utf-8")
    for name in ("dusk", "gull", "night"):  # grey.pgm comes between the first and the second
        (sign.parent / "pictures" / f"{name}.pgm").write_bytes(b"P5 4 3 255\n" + bytes(3))
    assert commands.main(["build", str(sign)]) == 1
    names = [line.partition(":")[0] for line in capsys.readouterr().err.splitlines()]
    assert names == [f"pictures/{name}.pgm" for name in ("dusk", "gull", "dusk", "gull", "night")]
    assert commands.main(["build", str(sign), "--quiet"]) == 1
    names = [line.partition(":")[0] for line in capsys.readouterr().err.splitlines()]
    assert names == [f"pictures/{name}.pgm" for name in ("dusk", "gull", "night")]
