"""Output folders as they are served, and what their pages are told."""

import json
import re
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import field, replace
from pathlib import Path
from typing import Any
from urllib.parse import unquote_to_bytes

from ladderlight.storage.output import settled
from ladderlight.storage.writing import read_regular
from ladderlight.system.frozen import Frozen

_NEVER = re.compile(r'[\x00-\x1f\x7f/\\:*?"<>|]')
"""Characters that lead elsewhere on some system, or that no file name has on Windows."""
_DEVICE = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³])\s*(\..*)?", re.IGNORECASE)
"""Names that are devices in every folder of Windows: "Naming Files, Paths, and Namespaces" of its documentation."""
_PATIENCE = 1.0  # seconds to wait for readers when it ends


class Site(Frozen):
    """The output folders that are served, by the first name in the address; a single one has none, ``""``."""

    folders: Mapping[str, Path] = field(default_factory=dict)

    def folder_of(self, target: str) -> str:
        """Return the name of the folder that a request's target lies in, ``""`` for none."""
        first = (names_of(target) or ("",))[0]
        return first if first in self.folders else ""

    def has_proof(self, folder: str) -> bool:
        """Whether a folder, or the first where none has that name, has a proof page."""
        name = folder if folder in self.folders else next(iter(self.folders), "")
        return self.read(f"/{name}{'/' * bool(name)}proof/index.html") is not None

    def read(self, target: str) -> bytes | None:
        """Return the bytes of the file that a request means, or None. Raises BuildError for a folder not to be read."""
        names = names_of(target)
        name = self.folder_of(target)
        if not names or name not in self.folders:
            return None
        output = self.folders[name]
        with settled(output):
            try:
                return read_regular(_inside(output, names[1:] if name else names))
            except (OSError, ValueError, RuntimeError):  # a loop of links, among others
                return None


def names_of(target: str) -> tuple[str, ...] | None:
    """Return the names in the path of a request's target, decoded once; None if any may not be asked for."""
    path = target.partition("?")[0]
    if not path.startswith("/") or not path.isascii():
        return None
    try:
        names = tuple(unquote_to_bytes(part).decode() for part in path[1:].split("/"))
    except UnicodeDecodeError:
        return None
    return names if all(map(_is_plain, names)) else None


def _is_plain(name: str) -> bool:
    """Whether a name is that of a file on every system; a name with a dot in front is hidden."""
    return name[:1] not in ("", ".") and name[-1] not in ". " and not (_NEVER.search(name) or _DEVICE.fullmatch(name))


def _inside(output: Path, names: tuple[str, ...]) -> Path:
    """Follow the links of a path. Raises ValueError where that leads out of the folder or to what is hidden."""
    path = output.joinpath(*names).resolve(strict=True)
    if any(name.startswith(".") for name in path.relative_to(output.resolve(strict=True)).parts):
        raise ValueError("hidden")
    return path


class Notice(Frozen):
    """The state of a watch."""

    number: int = 0
    site: Site = field(default_factory=Site)
    builds: Mapping[str, int] = field(default_factory=dict)
    """By the names of the folders; a folder that has not been built since the watch began is not in it."""
    errors: Sequence[str] = ()
    """Lines about the last build that failed; empty once it has been put right."""

    @property
    def as_json(self) -> str:
        """What pages need of it."""
        return json.dumps({"builds": self.builds, "errors": self.errors})


class Bulletin:
    """A notice that is replaced from time to time, and those who wait for the next one."""

    def __init__(self) -> None:
        self.notice = Notice()
        self.ended = False
        self._changed = threading.Condition()
        self._readers = 0

    def post(self, *, built: str | None = None, **changes: Any) -> None:
        """Replace fields of the notice, and count a build of a folder."""
        with self._changed:
            builds = dict(self.notice.builds)
            if built is not None:
                builds[built] = builds.get(built, 0) + 1
            self.notice = replace(self.notice, number=self.notice.number + 1, builds=builds, **changes)
            self._changed.notify_all()

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Be one of those whom the end waits for."""
        with self._changed:
            self._readers += 1
        try:
            yield
        finally:
            with self._changed:
                self._readers -= 1
                self._changed.notify_all()

    def after(self, number: int, patience: float) -> Notice | None:
        """Wait for another notice than that of a number; None if there has been none for so many seconds."""
        with self._changed:
            self._changed.wait_for(lambda: self.ended or self.notice.number != number, patience)
            return None if self.notice.number == number else self.notice

    def end(self) -> None:
        """Let all readers go, and wait until they have gone."""
        with self._changed:
            self.ended = True
            self._changed.notify_all()
            self._changed.wait_for(lambda: not self._readers, _PATIENCE)
