"""Loops of a package that is replaced by another version."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

import ladderlight
import ladderlight_stages

INNER = "from ladderlight_stages.compiled import compiled\n\n\n@compiled\ndef passed(value):\n    return {} * value\n"
OUTER = """
from ladderlight_stages.compiled import compiled
from ladderlight_stages.inner import passed


@compiled
def total(values):
    found = 0
    for value in values:
        found += passed(value)
    return found
"""


def wheel(folder: Path, version: str, *, factor: int) -> Path:
    """Make a wheel of the package with two loops in place of its own, all files as old."""
    path = folder / f"ladderlight_stages-{version}-py3-none-any.whl"
    info = f"ladderlight_stages-{version}.dist-info"
    root = Path(ladderlight_stages.__path__[0])
    own = ("__init__.py", "compiled.py", "machine_code.py", "machines.py", "object_code.py")
    texts = {name: (root / name).read_text("utf-8") for name in own}
    texts |= {"inner.py": INNER.format(factor), "outer.py": OUTER}
    texts = {f"ladderlight_stages/{name}": text for name, text in texts.items()}
    texts[f"{info}/METADATA"] = f"Metadata-Version: 2.1\nName: ladderlight_stages\nVersion: {version}\n"
    texts[f"{info}/WHEEL"] = "Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
    texts[f"{info}/RECORD"] = "".join(f"{each},,\n" for each in [*texts, f"{info}/RECORD"])
    with zipfile.ZipFile(path, "w") as file:
        for each, text in texts.items():
            file.writestr(zipfile.ZipInfo(each, (2026, 1, 1, 0, 0, 0)), text)
    return path


def test_after_an_upgrade_the_new_code_runs(tmp_path: Path) -> None:
    """Two wheels, one after the other in one environment, that differ in a loop which the outer loop calls."""
    pytest.importorskip("pip")
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(tmp_path / "venv")], check=True)
    scheme = sysconfig.get_path("purelib", "venv", vars={"base": str(tmp_path / "venv")})
    others = [sysconfig.get_path("purelib"), str(Path(ladderlight.__path__[0]).parent)]
    (Path(scheme) / "others.pth").write_text("\n".join(others))
    python = str(Path(sysconfig.get_path("scripts", "venv", vars={"base": str(tmp_path / "venv")})) / "python")
    script = (
        "import sys, numpy as np\n"
        "from ladderlight_stages.outer import total\n"
        "print(total(np.arange(4)), 'numba' in sys.modules)\n"
    )
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    environment |= {"XDG_CACHE_HOME": str(tmp_path / "cache"), "LOCALAPPDATA": str(tmp_path / "cache")}
    environment |= {"NUMBA_CACHE_DIR": ""}
    found = []
    for version, factor in (("1", 3), ("2", 5), ("3", 5)):
        made = wheel(tmp_path, version, factor=factor)
        install = ["install", "--quiet", "--no-deps", "--no-index", "--disable-pip-version-check", str(made)]
        subprocess.run([sys.executable, "-m", "pip", "--python", python, *install], check=True, env=environment)
        run_ = subprocess.run([python, "-c", script], env=environment, check=True, capture_output=True, text=True)
        found.append(run_.stdout.split())
    assert found == [["18", "True"], ["30", "True"], ["30", "False"]]
