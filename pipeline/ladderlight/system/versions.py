"""Versions of the libraries that compute: another version may round a colour to another code."""

import platform
from collections.abc import Mapping
from contextlib import suppress
from functools import cache
from importlib import metadata

import ladderlight

version = cache(metadata.version)
_COMPUTE = ("numba", "numpy", "pillow", "scikit-image", "scipy")


def versions(*more: str) -> dict[str, str]:
    """Return the versions by name: Ladderlight's, Python's and those of the libraries that compute, and of others."""
    found = {"ladderlight": ladderlight.__version__, "python": platform.python_version()}
    for name in (*_COMPUTE, *more):
        with suppress(metadata.PackageNotFoundError):  # put beside the program without what an installer writes
            found[name] = version(name)
    return found


def changed_versions(before: Mapping[str, str], now: Mapping[str, str]) -> str:
    """Return in words which versions have changed; empty when none has, or one side is unknown."""
    changed = [name for name in now if name in before and before[name] != now[name]]
    return ", ".join(f"{name} {now[name]} instead of {before[name]}" for name in changed)
