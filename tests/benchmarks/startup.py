"""Processor time of short commands, in times that of importing numpy and Pillow: python tests/benchmarks/startup.py.

Python keeps compiled modules, as in any installation, but in a temporary folder.
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

LOBBY = Path(__file__).parents[2] / "recipes" / "lobby"
RUNS = 3
COMMANDS = {
    "--help": ["--help"],
    "stages advise": ["stages", "advise"],
    "check": ["check", "recipe.toml"],
    "build --force --no-cache": ["build", "-q", "--force", "--no-cache", "recipe.toml"],
    "build --force": ["build", "-q", "--force", "recipe.toml"],
    "build, nothing changed": ["build", "-q", "recipe.toml"],
}


def seconds(command: list[str], folder: Path, environment: dict[str, str]) -> float:
    """Least user and system time of a few runs, after one that fills the caches of code."""
    found = []
    for _ in range(RUNS + 1):
        before = used()
        subprocess.run([sys.executable, *command], cwd=folder, stdout=subprocess.DEVNULL, check=True, env=environment)
        found.append(used() - before)
    return min(found[1:])


def used() -> float:
    """User and system time of the processes that have ended; of ``os.times`` a tick is a tenth of the unit here."""
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return children.ru_utime + children.ru_stime


with tempfile.TemporaryDirectory() as kept:
    work = Path(kept) / "lobby"
    shutil.copytree(LOBBY, work, ignore=shutil.ignore_patterns("out"))
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    environment["PYTHONPYCACHEPREFIX"] = str(Path(kept) / "compiled")
    unit = seconds(["-c", "import numpy, PIL.Image"], work, environment)
    for name, arguments in COMMANDS.items():
        print(f"| {name} | {seconds(['-m', 'ladderlight', *arguments], work, environment) / unit:.1f} |")
