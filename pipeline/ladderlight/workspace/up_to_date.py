"""Whether a build would give what is there: what the last one was made from and what it made, by the files' marks.

An account of that is kept in the cache. The answer takes a look at each file and no more: nothing that computes is
loaded for it, and neither is the recipe.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import ladderlight
from ladderlight.cache.marks import Seen, as_json, from_json
from ladderlight.cache.store import Cache
from ladderlight.errors import LadderlightError
from ladderlight.recipe.files import picture_files
from ladderlight.storage.output import settled
from ladderlight.storage.record import MANIFEST, Record, digest_of
from ladderlight.storage.writing import read_regular
from ladderlight.system.frozen import Frozen
from ladderlight.system.paths import mark_of

if TYPE_CHECKING:
    from ladderlight.board import Finding
    from ladderlight.devices.documents import ManifestDocument
    from ladderlight.recipe import Recipe

FORMAT = 2


class LastBuilt(Frozen):
    """The last build, where it is what another one would give."""

    output: Path
    written: bytes
    """Its manifest, as it is written."""
    findings: Sequence[Mapping[str, str]]

    @cached_property
    def manifest(self) -> ManifestDocument:
        """Its manifest, which nobody reads for one line."""
        document: ManifestDocument = json.loads(self.written)
        return document

    @property
    def cautioned(self) -> bool:
        """Whether the build has found anything that is an error where cautions are."""
        return any(finding["level"] == "caution" for finding in self.findings)


def up_to_date(recipe: Path, revision: str | None = None) -> LastBuilt | None:
    """Return the last build of a recipe, or of a revision of it, if nothing has changed since.

    That is: what it is made from, the program, and the files that it made.
    """
    try:
        path = recipe.resolve()
        cache = Cache.of_user()
        kept = cache.get(_key(path, revision)) if cache is not None else None
        if kept is None:
            return None
        account = json.loads(kept)
        output = Path(account["output"])
        with settled(output):
            manifest = read_regular(output / MANIFEST)
            if _is_unchanged(account, path, output, manifest):
                return LastBuilt(output=output, written=manifest, findings=account["findings"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RuntimeError, LadderlightError):
        pass  # a build finds out what is wrong, and says it
    return None


class Account(Frozen):
    """What a build is made from, noted before it begins."""

    recipe: Recipe
    began: int
    """When the command began, before the recipe was read, in nanoseconds since 1970."""
    seen: Mapping[str, Seen]
    missing: Sequence[str]
    """Paths where nothing is."""

    @classmethod
    def of(cls, recipe: Recipe, *, began: int, inputs: Mapping[str, Seen], others: Iterable[Path]) -> Account:
        """Note the inputs as they were seen, and look at other files that count, there or not."""
        seen = dict(inputs)
        missing = []
        for path in others:
            if os.path.lexists(path):
                seen.setdefault(str(path), Seen.once(path))
            else:
                missing.append(str(path))
        return cls(recipe=recipe, began=began, seen=seen, missing=missing)

    def keep(self, cache: Cache, manifest: str, findings: Iterable[Finding]) -> None:
        """Put the account of a build that is in its place into the cache; not where a file may have changed since.

        ``manifest`` is the SHA-256 of its manifest.
        """
        pictures = [file.place for file in self.recipe.files]
        read = set(pictures)
        if any(each.changed_after(self.began) for path, each in self.seen.items() if path not in read):
            return
        if not all(each.settled or each.still(path) for path, each in self.seen.items()):
            return
        output = self.recipe.output
        with suppress(OSError, LadderlightError), settled(output):
            record = Record.read(output)
            if record is None or digest_of(output / MANIFEST) != manifest:  # another build came after
                return
            document = {
                "format": FORMAT,
                "program": _program(),
                "recipe": str(self.recipe.path),
                "output": str(output),
                "patterns": self.recipe.patterns if pictures else (),
                "pictures": pictures,
                "seen": as_json(self.seen),
                "missing": self.missing,
                "manifest": manifest,
                "made": {name: mark_of(f"{output}/{name}") for name in sorted(record.files)},
                "findings": [{"level": each.level, "where": each.where, "message": each.message} for each in findings],
            }
            cache.put(_key(self.recipe.path, self.recipe.revision), json.dumps(document).encode())


def _is_unchanged(account: Mapping[str, Any], recipe: Path, output: Path, manifest: bytes) -> bool:
    if account["format"] != FORMAT or account["program"] != _program() or account["recipe"] != str(recipe):
        return False
    if not all(each.still(path) for path, each in from_json(account["seen"]).items()):
        return False
    files, problems = picture_files(recipe.parent, account["patterns"]) if account["patterns"] else ([], [])
    if problems or [file.place for file in files] != account["pictures"]:
        return False
    made = account["made"].items()
    if not all(mark is not None and tuple(mark) == mark_of(f"{output}/{name}") for name, mark in made):
        return False
    if any(map(os.path.lexists, account["missing"])):
        return False
    return bool(hashlib.sha256(manifest).hexdigest() == account["manifest"])


def _key(recipe: Path, revision: str | None) -> str:
    name = os.fsencode(recipe) + (b"" if revision is None else b"\0" + os.fsencode(revision))
    return hashlib.sha256(b"account of the last build\0" + name).hexdigest()


def _program() -> dict[str, Any]:
    """Describe what runs: which copy, versions, and the folders of libraries, whose times show that one has changed."""
    sites = [path for path in sys.path if Path(path).name in ("site-packages", "dist-packages")]
    times = {path: os.stat(path).st_mtime_ns for path in sites if os.path.isdir(path)}  # noqa: PTH112, PTH116
    own = [ladderlight.__file__, ladderlight.__version__]
    return {"own": own, "python": sys.version, "libraries": times}
