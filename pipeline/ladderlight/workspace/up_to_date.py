"""Whether a build would give what is there: what the last one was made from and what it made, by the files' marks.

An account of that is kept in the cache. The answer takes a look at each file and no more: nothing that computes is
loaded for it, and neither is the recipe.
"""

from __future__ import annotations

import hashlib
import json
import os
import pickle
import sys
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

import ladderlight
from ladderlight.cache.entries import Entry
from ladderlight.cache.marks import Seen, as_json, from_json
from ladderlight.cache.store import Cache
from ladderlight.errors import LadderlightError
from ladderlight.recipe.files import first_below, picture_files
from ladderlight.storage.output import settled
from ladderlight.storage.record import MANIFEST, Record, digest_of
from ladderlight.storage.writing import read_regular
from ladderlight.system.frozen import Frozen
from ladderlight.system.paths import mark_of, resolved

if TYPE_CHECKING:
    from ladderlight.board import Finding
    from ladderlight.devices.documents import ManifestDocument
    from ladderlight.recipe import Recipe

FORMAT = 3


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


class Noted(Frozen):
    """What is noted of the last build of a recipe, or of a revision of it, to be compared with what is there now."""

    path: Path
    """The recipe's, absolute."""
    entry: Entry
    account: Mapping[str, Any]

    @classmethod
    def of(cls, recipe: Path, revision: str | None = None) -> Self | None:
        """Return what is noted; None where nothing is."""
        with suppress(Exception):  # here and below: a build finds out what is wrong, and says it
            path, cache = recipe.resolve(), Cache.of_user()
            if entry := cache and cache.find(_key(path, revision)):
                return cls(path=path, entry=entry, account=json.loads(entry.read(0)))
        return None

    def unchanged(self) -> LastBuilt | None:
        """Return the last build, if all is as it was: what it is made from, the program, and the files it made."""
        with suppress(Exception):
            account, output = self.account, Path(self.account["output"])
            with settled(output):
                manifest = read_regular(output / MANIFEST)
                same = self._recipe_is_unchanged and all(self._seen[path].still(path) for path in account["pictures"])
                made: dict[str, list[int]] = account["made"]
                same = same and all([*(mark_of(f"{output}/{name}") or ())] == mark for name, mark in made.items())
                if same and hashlib.sha256(manifest).hexdigest() == account["manifest"]:
                    return LastBuilt(output=output, written=manifest, findings=account["findings"])
        return None

    def recipe(self) -> Recipe | None:
        """Return the recipe as it was loaded, if nothing has changed but what is in pictures, and what was made.

        Not where patterns leave pictures out: whether there are any to leave out is seen only in loading it.
        """
        from ladderlight.recipe.inputs import input_files

        with suppress(Exception):
            if self._recipe_is_unchanged and not any(each.startswith("!") for each in self.account["patterns"]):
                recipe: Recipe = pickle.loads(self.entry.read(1))  # noqa: S301 - a file of this user's, with a checksum
                output = resolved(recipe.folder / recipe.named_output)
                if recipe.output == output and not first_below(input_files(recipe).values(), output):
                    return recipe
        return None

    @cached_property
    def _seen(self) -> Mapping[str, Seen]:
        return from_json(self.account["seen"])

    @cached_property
    def _recipe_is_unchanged(self) -> bool:
        """Whether the program and all that the recipe is read from are as they were, and the same pictures there."""
        account, patterns, pictures = self.account, self.account["patterns"], set(self.account["pictures"])
        if [account[key] for key in ("format", "program", "recipe")] != [FORMAT, _program(), str(self.path)]:
            return False
        if not all(each.still(path) for path, each in self._seen.items() if path not in pictures):
            return False
        files, problems = picture_files(self.path.parent, patterns) if patterns else ([], [])
        same = not problems and [file.place for file in files] == account["pictures"]
        return same and not any(map(os.path.lexists, account["missing"]))


def up_to_date(recipe: Path, revision: str | None = None) -> LastBuilt | None:
    """Return the last build of a recipe, or of a revision of it, if nothing has changed since."""
    noted = Noted.of(recipe, revision)
    return None if noted is None else noted.unchanged()


class Account(Frozen):
    """What a build is made from, noted before it begins."""

    recipe: Recipe
    began: int
    """When the command began, before the recipe was read, in nanoseconds since 1970."""
    seen: Mapping[str, Seen]
    missing: Sequence[str]
    """Paths where nothing is."""

    @classmethod
    def of(cls, recipe: Recipe, *, began: int, inputs: Mapping[str, Seen], others: Iterable[str]) -> Account:
        """Note the inputs as they were seen, and look at other files that count, there or not."""
        seen = dict(inputs)
        missing = []
        for path in others:
            if os.path.lexists(path):
                seen.setdefault(path, Seen.once(path))
            else:
                missing.append(path)
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
            kept = cache.write()
            kept.add(json.dumps(document).encode())
            with suppress(Exception):  # of a plugin's options, which may be anything; the account is good without it
                kept.add(pickle.dumps(self.recipe, 5))
            kept.end(_key(self.recipe.path, self.recipe.revision), {})


def _key(recipe: Path, revision: str | None) -> str:
    name = os.fsencode(recipe) + (b"" if revision is None else b"\0" + os.fsencode(revision))
    return hashlib.sha256(b"account of the last build\0" + name).hexdigest()


def _program() -> dict[str, Any]:
    """Describe what runs: which copy, versions, and the folders of libraries, whose times show that one has changed."""
    sites = [path for path in sys.path if Path(path).name in ("site-packages", "dist-packages")]
    times = {path: os.stat(path).st_mtime_ns for path in sites if os.path.isdir(path)}  # noqa: PTH112, PTH116
    own = [ladderlight.__file__, ladderlight.__version__]
    return {"own": own, "python": sys.version, "libraries": times}
