"""Compile the sequential loops, and keep the machine code between runs where the system lets us."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile a loop on first use, without the interpreter lock.

    The machine code is kept beside the module, or in the user's cache folder when the installation is read-only. When
    neither can be written it is compiled again in each run.
    """
    try:
        made: Callable[..., Any] = numba.njit(cache=True, nogil=True)(function)
    except RuntimeError:  # no place for the cache
        made = numba.njit(nogil=True)(function)
    return made
