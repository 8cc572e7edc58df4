"""The folder of the cache: the user's own, or none."""

import os
import sys
from pathlib import Path

VARIABLE = "LADDERLIGHT_CACHE_DIR"
"""Environment variable that names another folder."""
_OURS = "ladderlight"


def cache_folder() -> Path | None:
    """Return the folder of the cache, there or not; None where it cannot be or would lie in another user's folder.

    So an administrator leaves no files in a home whose owner could not replace them, and nobody reads what others
    have written.
    """
    try:
        folder = _folder()
        return folder if _is_own(folder) else None
    except (OSError, RuntimeError, ValueError):  # no permission, no home, a name that is none
        return None


def is_own_file(status: os.stat_result) -> bool:
    """Whether a file belongs to this user; on Windows the user's cache folder is closed to others."""
    return os.name == "nt" or status.st_uid == os.geteuid()


def _folder() -> Path:
    stated = os.environ.get(VARIABLE)
    if stated:
        return Path(stated).absolute()
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / _OURS / "Cache" / "pictures"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / _OURS / "pictures"
    root = Path(os.environ.get("XDG_CACHE_HOME", ""))
    return (root if root.is_absolute() else Path.home() / ".cache") / _OURS / "pictures"


def _is_own(folder: Path) -> bool:
    nearest = next(place for place in (folder, *folder.parents) if place.exists())
    return is_own_file(nearest.stat())
