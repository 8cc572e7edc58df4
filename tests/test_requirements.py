"""What must be installed beside the program."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

PROJECT = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))["project"]


@pytest.mark.parametrize(
    ("system", "machine", "newest"),
    [("linux", "x86_64", True), ("win32", "AMD64", True), ("darwin", "arm64", True), ("darwin", "x86_64", False)],
)
def test_intel_macs_get_the_last_compiler_that_has_a_wheel_there(system: str, machine: str, *, newest: bool) -> None:
    """Numba 0.62 is the last with wheels for macOS on x86-64 (the files listed at pypi.org/project/numba)."""
    needed = [Requirement(text) for text in PROJECT["dependencies"]]
    here = {"sys_platform": system, "platform_machine": machine}
    (numba,) = [each for each in needed if each.name == "numba" and (not each.marker or each.marker.evaluate(here))]
    assert numba.specifier.contains("0.62.1")
    assert numba.specifier.contains("0.63.0") == newest


@pytest.mark.parametrize("name", ["docopt", "eseries", "quantiphy"])
def test_tables_and_units_need_no_library(name: str) -> None:
    """A table of numbers and a table of prefixes; the libraries are for the tests."""
    assert not any(text.startswith(name) for text in PROJECT["dependencies"])
