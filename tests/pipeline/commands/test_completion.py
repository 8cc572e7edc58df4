"""Completion in shells: the requests are those of the scripts that ``--show-completion`` prints."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from ladderlight.commands import main

REQUEST = "_LADDERLIGHT_COMPLETE"


@pytest.mark.parametrize(
    ("shell", "line", "answer"),
    [
        ("bash", {"COMP_WORDS": "ladderlight bu", "COMP_CWORD": "1"}, ["build", "burned"]),
        ("bash", {"COMP_WORDS": "ladderlight build --qu", "COMP_CWORD": "2"}, ["--quiet"]),
        ("zsh", {"_TYPER_COMPLETE_ARGS": "ladderlight deco"}, ['"decode":"Turn chips']),
        (
            "fish",
            {"_TYPER_COMPLETE_FISH_ACTION": "get-args", "_TYPER_COMPLETE_ARGS": "ladderlight watc"},
            ["watch\tBuild a recipe"],
        ),
    ],
)
def test_each_shell_completes_commands_and_options(
    shell: str,
    line: dict[str, str],
    answer: list[str],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    for name, value in {**line, REQUEST: f"complete_{shell}"}.items():
        monkeypatch.setenv(name, value)
    assert main([]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == len(answer)
    assert all(expected in found for found, expected in zip(lines, answer, strict=True))


@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not installed")
def test_bash_completes_by_the_script(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    command = tmp_path / "ladderlight"
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m ladderlight "$@"\n', encoding="utf-8")
    command.chmod(0o755)
    script = f"""
        PATH="{tmp_path}:$PATH"
        eval "$({REQUEST}=source_bash ladderlight)"
        COMP_WORDS=(ladderlight sta) COMP_CWORD=1
        _ladderlight_completion ladderlight
        printf '%s\\n' "${{COMPREPLY[@]}}"
    """
    found = subprocess.run(["bash", "-c", script], capture_output=True, text=True, timeout=120, check=True)
    assert (found.stdout.split(), found.stderr) == (["start", "stages"], "")


def test_the_help_lists_completion_and_showing_a_script_is_no_bug(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--help"]) == 0
    text = capsys.readouterr().out
    assert "--install-completion" in text
    assert "--show-completion" in text
    monkeypatch.setattr("typer.completion._get_shell_name", lambda: "bash")
    assert main(["--show-completion"]) == 0
    captured = capsys.readouterr()
    assert "complete -o default -F _ladderlight_completion ladderlight" in captured.out
    assert captured.err == ""
