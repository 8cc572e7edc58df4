"""What a build is made from, looked at before it begins; what the cache knows of the files spares reading them.

It also spares making trays that are as the last build made them: their files stay in the output.
"""

from __future__ import annotations

import errno
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Self

from ladderlight.board import Finding
from ladderlight.cache.marks import Seen, as_json, from_json, mark_of
from ladderlight.cache.store import Cache
from ladderlight.engine.trays import Tray
from ladderlight.proof.page.document import Links
from ladderlight.recipe import Recipe
from ladderlight.recipe.inputs import input_files, seen_inputs
from ladderlight.stages.code import code_files, code_of, loads_by_name, reads_files
from ladderlight.stages.declaration import StageDeclaration
from ladderlight.storage.journal import is_inside
from ladderlight.storage.output import Staging
from ladderlight.system.value import digest_of
from ladderlight.workspace.burned import FILE, Chip
from ladderlight.workspace.manifest import InputEntry, Manifest
from ladderlight.workspace.up_to_date import Account


@dataclass(frozen=True, kw_only=True)
class MadeFrom:
    """What a build is made from: the files of a recipe, as they were seen before it began.

    ``seen`` is by the names of ``files``, which are those of :func:`ladderlight.recipe.inputs.input_files`.
    """

    recipe: Recipe
    cache: Cache | None
    files: Mapping[str, Path]
    seen: Mapping[str, Seen]

    @classmethod
    def of(cls, recipe: Recipe, *, cached: bool = True) -> Self:
        """Look at the files of a recipe. Those that are as the user's cache knows them are not read.

        Raises
        ------
        BuildError
            When one cannot be read.
        """
        cache = Cache.of_user() if cached else None
        files = input_files(recipe)
        key = digest_of(("files of a recipe", recipe.path, recipe.revision))
        known = _known(cache, key) if cache else {}
        seen = seen_inputs(files, known)
        if cache and seen != known:
            cache.put(key, json.dumps(as_json(seen)).encode())
        return cls(recipe=recipe, cache=cache, files=files, seen=seen)

    @property
    def inputs(self) -> list[InputEntry]:
        """The files, for the manifest."""
        return [InputEntry(file=name, bytes=each.size, sha256=each.sha256) for name, each in self.seen.items()]

    def account(self, *, began: int) -> Account | None:
        """Note the inputs, the code of the stages, and the record of burned chips.

        Return None when one of them cannot be read, or is not known before it is loaded.
        """
        stages = [use.declaration for use in (*self.recipe.chain, *self.recipe.cards)]
        if any(map(_may_use_more, stages)):
            return None
        inputs = {path: self.seen[name] for name, path in self.files.items()}
        try:
            others = (*code_files(stages), self.recipe.folder / FILE)
            return Account.of(self.recipe, began=began, inputs=inputs, others=others)
        except OSError:
            return None

    def kept_trays(self) -> KeptTrays | None:
        """Note what all trays are made from. Return None where not all of it is known, or where nothing is kept."""
        recipe = self.recipe
        stages = [use.declaration for use in (*recipe.chain, *recipe.cards)]
        if self.cache is None or recipe.per_tray is None or any(map(_may_use_more, stages)):
            return None
        pictures = {file.source for file in recipe.files}
        inputs = {name: each.sha256 for name, each in self.seen.items() if name not in pictures}
        codes = list(map(code_of, stages))
        common = digest_of(("tray", recipe.path, recipe.name, recipe.title, recipe.revision, inputs, codes))
        return KeptTrays(cache=self.cache, common=common)


def _may_use_more(stage: StageDeclaration) -> bool:
    """Whether a stage may use files that are not known before it runs."""
    return loads_by_name(stage) or reads_files(stage)


def _known(cache: Cache, key: str) -> dict[str, Seen]:
    data = cache.get(key)
    try:
        return from_json(json.loads(data)) if data is not None else {}
    except (ValueError, TypeError, AttributeError):
        return {}


@dataclass(frozen=True, kw_only=True)
class KeptTrays:
    """What the cache knows of the trays of a recipe: the digests of their files, and their manifests, by key.

    A key is the digest of all that a tray is made from: all inputs but pictures, the code of the stages, the coded
    pictures, and what is recorded of its chips.
    """

    cache: Cache
    common: str
    """Digest of what all trays are made from."""
    _made: list[tuple[str, Manifest, dict[str, Seen]]] = field(default_factory=list)

    def key(
        self,
        tray: Tray,
        pictures: Sequence[str],
        chips: Iterable[Chip],
        findings: Sequence[Finding],
        inputs: str | None,
        links: Links,
    ) -> str:
        """Return the key of a tray.

        Parameters
        ----------
        tray
            The tray.
        pictures
            The keys of its coded pictures.
        chips
            What is recorded of it.
        findings
            The findings on its page.
        inputs
            Digest of all files, by which the manifest gives the reason why a chip differs.
        links
            Where its page leads.
        """
        held = [(chip.device, chip.sha256, chip.image, chip.inputs == inputs, chip.versions) for chip in chips]
        sources = [file.source for file in tray.files]
        return digest_of((self.common, tray.number, sources, list(tray.cards), pictures, held, findings, links))

    def take(self, key: str, staging: Staging) -> Manifest | None:
        """Let the files of a tray stay in the output, and return its manifest.

        Return None where they are not all there as they were made, and nothing else of the last build beside them.
        """
        try:
            kept = self.cache.get(key)
            if kept is None:
                return None
            about = json.loads(kept)
            files = from_json(about["files"])
            manifest = Manifest.model_validate(about["manifest"])
            found = {name: _seen(staging.output / name, each) for name, each in files.items() if is_inside(name)}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None

        def are_same() -> bool:
            return all(mark_of(staging.output / name, through_links=False) == each.mark for name, each in found.items())

        digests = {name: each.sha256 for name, each in files.items()}
        if {name: each.sha256 for name, each in found.items()} != digests:
            return None
        if not staging.keep(_folders(files), digests, are_same):
            return None
        if found != files:
            self._put(key, manifest, found)
        return manifest

    def add(self, key: str, made: Manifest, folder: Path, names: Iterable[str]) -> None:
        """Note what a tray's files are, which lie in a folder, not yet in their place. Those noted before are kept."""
        self.keep()
        self._made.append((key, made, {name: Seen.now(folder / name) for name in names}))

    def keep(self) -> None:
        """Keep what was noted. What a user changes from now on shows, except in files that were only just written."""
        for key, made, files in self._made:
            self._put(key, made, {name: each.settled_by_now() for name, each in files.items()})
        self._made.clear()

    def _put(self, key: str, made: Manifest, files: Mapping[str, Seen]) -> None:
        self.cache.put(key, json.dumps({"files": as_json(files), "manifest": made.document}).encode())


def _seen(path: Path, known: Seen) -> Seen:
    """Return a file as it is; it is read only where its mark does not show that it is as it was."""
    if known.is_surely(path):
        return known
    if mark_of(path, through_links=False) is None:
        raise OSError(errno.ENOENT, "is not a file", str(path))
    return Seen.now(path)


def _folders(files: Iterable[str]) -> list[str]:
    """Return the folders of a tray's files: of its devices and its proof."""
    return sorted({"/".join(name.split("/")[:2]) for name in files})
