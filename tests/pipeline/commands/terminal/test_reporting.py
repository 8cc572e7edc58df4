"""Lines on a terminal."""

from __future__ import annotations

import io
import os
import shutil
import sys
from pathlib import Path

import pytest

from ladderlight.commands.terminal.reporting import LineConsole

LANTERN = Path(__file__).parents[3] / "recipes" / "lantern"


def test_names_act_on_nothing() -> None:
    stream = io.StringIO()
    LineConsole(stream).print("\x1b[31m[bold]:key:\u202e.png\n", style="bold")
    assert stream.getvalue() == "\\x1b[31m[bold]:key:\\u202e.png\\n\n"


def test_a_path_is_one_line_and_acts_on_nothing() -> None:
    stream = io.StringIO()
    LineConsole(stream).print(Path("a\nb\x1b[31m c.html"))
    assert stream.getvalue() == "a\\nb\\x1b[31m c.html\n"


def test_quiet_prints_nothing() -> None:
    stream = io.StringIO()
    LineConsole(stream, quiet=True).print("a")
    assert stream.getvalue() == ""


@pytest.mark.skipif(os.name == "nt", reason="needs a pseudo-terminal")
@pytest.mark.parametrize("command", ["start", "build", "check --page", "check"])
def test_paths_and_commands_are_in_one_piece_on_a_narrow_terminal(tmp_path: Path, command: str) -> None:
    folder = tmp_path / "a folder with a name that is longer than the terminal is wide" / "and another such folder"
    word, *more = command.split()
    if word == "start":
        arguments = [str(folder)]
        expected = [str(folder / "recipe.toml"), f"Next: ladderlight build '{folder / 'recipe.toml'}'"]
    else:
        shutil.copytree(LANTERN, folder, ignore=shutil.ignore_patterns("out", "__pycache__"))
        arguments = [str(folder / "recipe.toml"), *more, *([str(folder / "page.html")] if more else [])]
        expected = {
            "build": [str(folder / "out" / "burn-sheet.txt"), str(folder / "out" / "proof" / "index.html")],
            "check --page": [str(folder / "page.html")],
            "check": ["ready to build"],
        }[command]
    status, out = on_a_terminal(word, *arguments)
    lines = out.replace("\r\n", "\n").split("\n")
    assert status == 0
    for line in expected:
        assert line in lines


def on_a_terminal(*arguments: str) -> tuple[int, str]:
    """Run a command on a pseudo-terminal of 40 columns, without colours. Gives its status and what it printed."""
    import pty

    child, terminal = pty.fork()
    if not child:
        environment = {**os.environ, "COLUMNS": "40", "TERM": "xterm", "NO_COLOR": "1"}
        os.execve(sys.executable, [sys.executable, "-m", "ladderlight", *arguments], environment)
    said = b""
    while True:
        try:
            piece = os.read(terminal, 4096)
        except OSError:  # the child has ended (Linux)
            break
        if not piece:
            break
        said += piece
    _, status = os.waitpid(child, 0)
    os.close(terminal)
    return os.waitstatus_to_exitcode(status), said.decode()
