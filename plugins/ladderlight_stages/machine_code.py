"""The loops' machine code, kept between runs: a folder for each loop, named by the digest of all it is made from.

The compiler's own cache looks at the file of the outermost loop only, so that after an upgrade the old code of the
loops that it calls would run on. Folders are in the user's cache, not beside the modules: another user's files are
never loaded, and nothing is left behind when the package is removed.
"""

import hashlib
import marshal
import os
import shutil
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from types import BuiltinFunctionType, CodeType, FunctionType, ModuleType
from typing import Any

HOW = {"nogil": True, "error_model": "numpy"}
"""How loops are compiled: without the interpreter lock, and with no test for division by zero, which would keep the
compiler from taking many numbers at a time."""
MOST_FOLDERS = 480
"""Those used longest ago are removed first. One installation has fewer than 100, each of about 100 kB."""
_IN_USE = 600.0
"""Seconds for which a folder stays after its last use, however many there are."""
_OURS = "ladderlight"
_STAND_IN = "loop"
_LETTERS = 24
"""Of a folder's name. Others in the same place are not for machine code."""


def folder_for(*ingredients: object) -> Path | None:
    """Return the folder for what is compiled from some code and numbers, made if need be.

    None where it cannot be made, would lie in a folder of another user, or the compiler is switched off.
    """
    import llvmlite
    import numba
    import numpy as np

    if numba.config.DISABLE_JIT:
        return None
    versions = (repr(HOW), sys.version, numba.__version__, llvmlite.__version__, np.__version__)
    digest = hashlib.sha256()
    for ingredient in (versions, *ingredients):
        # without references: those depend on what else the interpreter holds
        code = marshal.dumps(_from(ingredient, ""), 2) if isinstance(ingredient, CodeType) else None
        digest.update(code or repr(ingredient).encode())
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


def constant(value: object) -> str:
    """Return the text of a value that a loop takes from its module, for its digest.

    Raises TypeError when it is neither a number, nor a library's function, nor a library.
    """
    import numpy as np

    library = value.__name__ if isinstance(value, ModuleType) else ""
    if not isinstance(value, (int, float, np.generic, np.ufunc, type, BuiltinFunctionType, ModuleType)):
        raise TypeError(f"a loop cannot take {value!r} from its module; make it a parameter")
    if library.partition(".")[0] in {"ladderlight", "ladderlight_stages"}:
        raise TypeError(f"a loop cannot look into {library}; import the number itself")
    return library or repr(value)


def _from(code: CodeType, file: str) -> CodeType:
    """Return code as if it had been read from a file, and all code within it."""
    constants = tuple(_from(each, file) if isinstance(each, CodeType) else each for each in code.co_consts)
    return code.replace(co_filename=file, co_consts=constants)


def kept_in(folder: Path, function: FunctionType, values: tuple[object, ...]) -> Callable[..., Any] | None:
    """Return a function's machine code for the types of some values, kept in a folder.

    None when the folder cannot be written, or is removed, or is damaged. The code is loaded here and not in the first
    call, so that whatever goes wrong is an error of loading and never one of the loop. The compiler takes an empty file
    in the folder for the loop's: wherever the package is installed, the code is the same.
    """
    import numba

    stand_in = folder / _STAND_IN
    try:
        with suppress(FileExistsError):  # made once: the compiler looks at its time
            stand_in.touch(exist_ok=False)
    except OSError:
        return None
    function.__code__ = _from(function.__code__, str(stand_in))
    before, numba.config.CACHE_DIR = numba.config.CACHE_DIR, str(folder)
    try:
        machine: Any = numba.njit(cache=True, **HOW)(function)
    except RuntimeError:  # no place for the cache
        return None
    finally:
        numba.config.CACHE_DIR = before
    place = Path(machine.stats.cache_path)
    if folder not in place.parents:  # code there is not kept apart by what it is made from
        return None
    try:
        machine.compile(tuple(numba.typeof(value) for value in values))
    except Exception:  # noqa: BLE001 - a damaged file may raise anything; faults of the loop itself come again without it
        shutil.rmtree(place, ignore_errors=True)
        return None
    return machine  # type: ignore[no-any-return]


def _root(chosen: str) -> Path:
    """Return the folder for all loops: below the one given to the compiler, or in the user's cache.

    Raises RuntimeError when the user does not have a home.
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
    """Keep the number of folders bounded, but for those that were used a short time ago, maybe by another process."""
    loops = (path for path in root.iterdir() if len(path.name) == _LETTERS and path.is_dir())
    folders = sorted(loops, key=_last_use)
    for folder in folders[:-MOST_FOLDERS]:
        if time.time() - _last_use(folder) > _IN_USE:  # looked at again: another process may have taken it up
            shutil.rmtree(folder, ignore_errors=True)


def _last_use(folder: Path) -> float:
    """Return when a folder was last used, in seconds since 1970; 0 when another process has removed it."""
    try:
        return folder.stat().st_mtime
    except FileNotFoundError:
        return 0.0
