"""The loops' machine code, kept between runs: a folder for each loop, named by the digest of all it is made from.

The compiler's own cache looks at the file of the outermost loop only, so that after an upgrade the old code of the
loops that it calls would run on. Folders are in the user's cache, not beside the modules: another user's files are
never loaded, and nothing is left behind when the package is removed.
"""

from __future__ import annotations

import hashlib
import marshal
import os
import shutil
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import BuiltinFunctionType, CodeType, FunctionType, ModuleType
from typing import Any

MOST_FOLDERS = 480
"""Those used longest ago are removed first. One installation has fewer than 100, each of about 100 kB."""
_OURS = "ladderlight"
_LETTERS = 24
"""Of a folder's name. Others in the same place are not for machine code."""


def folder_for(*ingredients: object) -> Path | None:
    """Return the folder for what is compiled from some code and numbers, made if need be.

    None where it cannot be made, would lie in a folder of another user, or the compiler is switched off.
    """
    import llvmlite
    import numpy as np

    numba = _compiler()
    if numba.config.DISABLE_JIT:
        return None
    versions = (sys.version, numba.__version__, llvmlite.__version__, np.__version__)
    digest = hashlib.sha256()
    for ingredient in (versions, *ingredients):
        # without references: those depend on what else the interpreter holds
        digest.update(marshal.dumps(ingredient, 2) if isinstance(ingredient, CodeType) else repr(ingredient).encode())
    try:
        root = _root(numba.config.CACHE_DIR)
        folder = root / digest.hexdigest()[:_LETTERS]
        if not _is_own(root):
            return None
        if not folder.exists():
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            _remove_oldest(root)
        os.utime(folder)
    except (OSError, RuntimeError):  # no permission, no room, no home
        return None
    return folder


@cache
def _compiler() -> Any:
    """Import the compiler without SciPy's linear algebra, which no loop uses and which takes nearly as long again.

    The compiler looks whether it is there when its array functions are imported, and does without where it is not.
    """
    import numba

    name = "scipy.linalg.cython_blas"
    if name not in sys.modules:
        sys.modules[name] = None  # type: ignore[assignment]
        try:
            import numba.np.arraymath
        finally:
            del sys.modules[name]
    return numba


def constant(value: object) -> str:
    """Return the text of a value that a loop takes from its module, for its digest.

    Raises
    ------
    TypeError
        When it is neither a number, nor a library's function, nor a library.
    """
    import numpy as np

    library = value.__name__ if isinstance(value, ModuleType) else ""
    if not isinstance(value, (int, float, np.generic, np.ufunc, type, BuiltinFunctionType, ModuleType)):
        raise TypeError(f"a loop cannot take {value!r} from its module; make it a parameter")
    if library.partition(".")[0] in {"ladderlight", "ladderlight_stages"}:
        raise TypeError(f"a loop cannot look into {library}; import the number itself")
    return library or repr(value)


def kept_in(folder: Path, function: FunctionType) -> Callable[..., Any] | None:
    """Return a function's machine code, kept in a folder; None when the folder cannot be written."""
    import numba

    before, numba.config.CACHE_DIR = numba.config.CACHE_DIR, str(folder)
    try:
        machine: Callable[..., Any] = numba.njit(cache=True, nogil=True)(function)
    except RuntimeError:  # no place for the cache
        return None
    finally:
        numba.config.CACHE_DIR = before
    # the compiler may have found a place elsewhere, where code is not kept apart by what it is made from
    return machine if folder in _place_of(machine).parents else None


def discard(machine: Callable[..., Any]) -> None:
    """Remove kept machine code that cannot be read or written."""
    shutil.rmtree(_place_of(machine), ignore_errors=True)


def _place_of(machine: Any) -> Path:
    """Return the folder below that of the loop in which the compiler keeps code."""
    return Path(machine.stats.cache_path)


def _root(chosen: str) -> Path:
    """Return the folder for all loops: below the one given to the compiler, or in the user's cache.

    Raises
    ------
    RuntimeError
        When the user does not have a home.
    """
    if chosen:
        return Path(chosen).absolute() / _OURS
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / _OURS / "Cache"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / _OURS
    stated = Path(os.environ.get("XDG_CACHE_HOME", ""))
    return (stated if stated.is_absolute() else Path.home() / ".cache") / _OURS


def _is_own(folder: Path) -> bool:
    """Whether a folder, or the nearest above it that exists, belongs to this user, so that only this user writes there.

    So an administrator leaves no files in a home whose owner could not replace them.
    """
    nearest = next(place for place in (folder, *folder.parents) if place.exists())
    return os.name == "nt" or nearest.stat().st_uid == os.geteuid()


def _remove_oldest(root: Path) -> None:
    """Keep the number of folders bounded; another process that uses one compiles again."""
    loops = (path for path in root.iterdir() if len(path.name) == _LETTERS and path.is_dir())
    folders = sorted(loops, key=lambda path: path.stat().st_mtime)
    for folder in folders[:-MOST_FOLDERS]:
        shutil.rmtree(folder, ignore_errors=True)
