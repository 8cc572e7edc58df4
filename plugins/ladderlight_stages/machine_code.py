"""The loops' machine code, kept between runs: a file for each loop, named by the digest of all it is made from.

Files are in the user's cache, not beside the modules: another user's are never loaded, and nothing is left behind when
the package is removed.
"""

import hashlib
import json
import marshal
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from functools import cache
from importlib.metadata import version
from pathlib import Path
from types import BuiltinFunctionType, CodeType, FunctionType, ModuleType

from ladderlight_stages.machines import Machine, ObjectCode, processor

MOST_FILES = 480
"""Those used longest ago are removed first. One installation has fewer than 100, of 3 to 60 kB each."""
_IN_USE = 600.0  # seconds for which a file stays after its last use, however many there are
_OURS = "ladderlight"
_LETTERS = 24
"""Of a file's name, and of that which it has while it is written. Others in the same place are not for machine code."""
_CHECK = hashlib.sha256().digest_size


def machine_for(
    linked: Callable[[], FunctionType],
    kinds: tuple[object, ...],
    values: tuple[object, ...],
    ingredients: Iterable[object],
) -> Machine | None:
    """Return a loop's machine code for values of some kinds: what was kept, or else compiled now, and kept.

    None where it cannot be called without the compiler, or compilation is switched off. ``linked`` returns the function
    with the loops that it calls in the compiler's form.
    """
    if os.environ.get("NUMBA_DISABLE_JIT", "0") not in {"", "0"}:
        return None
    path = _path(*ingredients, kinds)
    try:
        if path and (kept := _read(path)):
            with suppress(OSError):
                os.utime(path)
            return Machine(kept, kinds)
    except RuntimeError:  # of an earlier form of these files
        pass
    from ladderlight_stages.object_code import compile_loop

    try:
        made = compile_loop(linked(), values)
        machine = Machine(made, kinds)
    except Exception:  # noqa: BLE001 - whatever the compiler makes of it; a fault of the loop comes again without this
        return None
    if path:
        _keep(path, made)
    return machine


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


def _path(*ingredients: object) -> Path | None:
    """Return the file for what is compiled from some code and numbers; None where there cannot be one."""
    digest = hashlib.sha256()
    for ingredient in (*_versions(), *ingredients):
        # without references: those depend on what else the interpreter holds
        code = marshal.dumps(_anywhere(ingredient), 2) if isinstance(ingredient, CodeType) else None
        digest.update(code or repr(ingredient).encode())
    root = _root()
    return root and root / digest.hexdigest()[:_LETTERS]


@cache
def _versions() -> tuple[str, ...]:
    """Return what else decides about machine code: who makes it, what for, and the code that says how."""
    makers = [version(library) for library in ("numba", "llvmlite", "numpy")]
    here = Path(__file__).parent
    how = [(here / name).read_text("utf-8") for name in ("object_code.py", "machines.py")]
    options = sorted(f"{name}={value}" for name, value in os.environ.items() if name.startswith("NUMBA_"))
    return (sys.version, *makers, *processor(), *how, *options)


def _anywhere(code: CodeType) -> CodeType:
    """Return code as if it had not been read from a file, and all code within it."""
    constants = tuple(_anywhere(each) if isinstance(each, CodeType) else each for each in code.co_consts)
    return code.replace(co_filename="", co_consts=constants)


def _read(path: Path) -> ObjectCode | None:
    """Return what is kept in a file, if it is whole and this user's."""
    try:
        data = path.read_bytes()
        if os.name != "nt" and path.stat().st_uid != os.geteuid():
            return None
    except OSError:
        return None
    if _checksum(path, data[_CHECK:]) != data[:_CHECK]:
        return None
    about, _, code = data[_CHECK:].partition(b"\n")
    return ObjectCode(**json.loads(about), code=code)


def _checksum(path: Path, data: bytes) -> bytes:
    """Return a checksum of what a file holds; with its name, so that no other loop's is taken for it."""
    return hashlib.sha256(path.name.encode() + data).digest()


def _keep(path: Path, made: ObjectCode) -> None:
    """Write a file in one step, where that is possible, and remove old ones."""
    about = {"name": made.name, "parameters": made.parameters, "result": made.result}
    data = json.dumps(about).encode() + b"\n" + made.code
    try:
        if not _is_own(path.parent):
            return
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        number, name = tempfile.mkstemp(dir=path.parent, prefix=path.name[:-8])
        aside = Path(name)
        try:
            with os.fdopen(number, "wb") as file:
                file.write(_checksum(path, data) + data)
            aside.replace(path)
        except OSError:
            aside.unlink(missing_ok=True)
            raise
        _remove_oldest(path.parent)
    except OSError:  # no permission, no room
        return


def _root() -> Path | None:
    """Return the folder for all loops: below the one given to the compiler, or in the user's cache.

    None when the user does not have a home.
    """
    if chosen := os.environ.get("NUMBA_CACHE_DIR"):
        return Path(chosen).absolute() / _OURS
    try:
        if sys.platform == "win32":
            return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / _OURS / "Cache"
        if sys.platform == "darwin":
            return Path.home() / "Library" / "Caches" / _OURS
        stated = Path(os.environ.get("XDG_CACHE_HOME", ""))
        return (stated if stated.is_absolute() else Path.home() / ".cache") / _OURS
    except RuntimeError:
        return None


def _is_own(folder: Path) -> bool:
    """Whether a folder, or the nearest above it that exists, belongs to this user.

    So an administrator leaves no files in a home whose owner could not replace them.
    """
    nearest = next(place for place in (folder, *folder.parents) if place.exists())
    return os.name == "nt" or nearest.stat().st_uid == os.geteuid()


def _remove_oldest(root: Path) -> None:
    """Keep the number of files bounded, but for those that were used a short time ago, maybe by another process."""
    kept = sorted((path for path in root.iterdir() if len(path.name) == _LETTERS), key=_last_use)
    for path in kept[:-MOST_FILES]:
        if time.time() - _last_use(path) <= _IN_USE:  # looked at again: another process may have taken it up
            continue
        if path.is_dir():  # of an earlier version
            shutil.rmtree(path, ignore_errors=True)
        else:
            with suppress(OSError):
                path.unlink()


def _last_use(path: Path) -> float:
    """Return when a file was last used, in seconds since 1970; 0 when another process has removed it."""
    try:
        return path.stat().st_mtime
    except FileNotFoundError:
        return 0.0
