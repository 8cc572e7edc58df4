"""What a build is made from, looked at before it begins; what the cache knows of the files spares reading them.

It also spares making trays that are as the last build made them: their files stay in the output.
"""

from __future__ import annotations

import errno
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self, TypeVar

import ladderlight
from ladderlight.cache.marks import Seen, as_json, from_json, know_program, program_files
from ladderlight.cache.store import Cache
from ladderlight.engine.plan import Plan
from ladderlight.engine.trays import Tray
from ladderlight.proof.page.document import Links
from ladderlight.recipe import PictureFile, Recipe
from ladderlight.recipe.inputs import input_files, seen_inputs
from ladderlight.stages.code import code_files, code_of, loads_by_name, reads_files
from ladderlight.stages.contract import Probe
from ladderlight.stages.declaration import StageDeclaration
from ladderlight.storage.journal import is_inside
from ladderlight.storage.output import Staging
from ladderlight.system.frozen import Frozen
from ladderlight.system.paths import mark_of
from ladderlight.system.value import digest_of
from ladderlight.workspace.burned import FILE
from ladderlight.workspace.manifest import MadeTray, digest_of_inputs, manifest_of
from ladderlight.workspace.up_to_date import Account

if TYPE_CHECKING:
    from ladderlight.workspace.models import Chip

Value = TypeVar("Value")
_PROGRAM = digest_of(("files of the program", ladderlight.__file__))
"""Key of what builds have seen of the program's own files."""


class MadeFrom(Frozen):
    """What a build is made from: the files of a recipe, as they were seen before any picture was decoded.

    ``seen`` is by the names of :func:`ladderlight.recipe.inputs.input_files`; empty before :meth:`look`.
    """

    recipe: Recipe
    cache: Cache | None
    seen: dict[str, Seen] = field(default_factory=dict)

    def look(self) -> Self:
        """Look at the files of the recipe. Those that are as the user's cache knows them are not read.

        Raises BuildError when one cannot be read.
        """
        recipe, cache = self.recipe, self.cache
        key = digest_of(("files of a recipe", recipe.path, recipe.revision))
        known = _known(cache, key) if cache else {}
        if cache:
            know_program(_known(cache, _PROGRAM))
        self.seen.update(seen_inputs(input_files(recipe), known))
        if cache and self.seen != known:
            cache.put(key, json.dumps(as_json(self.seen)).encode())
        return self

    @property
    def digest(self) -> str | None:
        """One SHA-256 for all the files."""
        return digest_of_inputs((name, each.size, each.sha256) for name, each in self.seen.items())

    def account(self, *, began: int) -> Account | None:
        """Note the inputs, the code of the stages, and the record of burned chips.

        Return None when one of them cannot be read, or is not known before it is loaded.
        """
        stages = [use.declaration for use in (*self.recipe.chain, *self.recipe.cards)]
        if any(map(_may_use_more, stages)):
            return None
        inputs = {path: self.seen[name] for name, path in input_files(self.recipe).items()}
        try:
            others = (*code_files(stages), str(self.recipe.folder / FILE))
            account = Account.of(self.recipe, began=began, inputs=inputs, others=others)
        except OSError:
            return None
        if self.cache and (code := program_files()) != _known(self.cache, _PROGRAM):
            self.cache.put(_PROGRAM, json.dumps(as_json(code)).encode())
        return account

    def kept_trays(self, plan: Plan) -> KeptTrays | None:
        """Note what all trays are made from. Return None where not all of it is known, or where nothing is kept."""
        if self.cache is None or self.recipe.per_tray is None or not self._common:
            return None
        return KeptTrays(cache=self.cache, common=self._common, seen=self.seen, plan=plan)

    @cached_property
    def _common(self) -> str:
        """Digest of what all pictures are treated by; empty where not all of it is known."""
        recipe = self.recipe
        stages = [use.declaration for use in (*recipe.chain, *recipe.cards)]
        if any(map(_may_use_more, stages)):
            return ""
        pictures = {file.source for file in recipe.files}
        inputs = {name: each.sha256 for name, each in self.seen.items() if name not in pictures}
        codes = list(map(code_of, stages))
        return digest_of((recipe.path, recipe.name, recipe.title, recipe.revision, inputs, codes))

    @cached_property
    def headers(self) -> dict[PictureFile, Probe]:
        """The headers that an earlier build has read of files that are as they were."""
        if not self.cache or not self.seen or not self._common:
            return {}
        found, files = {}, {file.source: file for file in self.recipe.files}
        try:
            for source, digest, frames, width, height, caution in json.loads(self.cache.get(self._headers) or b"[]"):
                if source in files and self.seen[source].sha256 == digest:
                    found[files[source]] = Probe(frames=frames, width=width, height=height, caution=caution)
        except (ValueError, TypeError):
            return {}
        return found

    def keep_headers(self, probes: Mapping[PictureFile, Probe]) -> None:
        """Keep the headers of files for the next build."""
        if self.cache and self._common and probes != self.headers:
            rows = [
                [source, self.seen[source].sha256, int(one.frames), int(one.width), int(one.height), one.caution]
                for source, one in ((file.source, one) for file, one in probes.items())
            ]
            self.cache.put(self._headers, json.dumps(rows).encode())

    @cached_property
    def _headers(self) -> str:
        """Key of the headers: by the source and its options, where it asks for no more."""
        recipe, source = self.recipe, self.recipe.chain[0]
        with suppress(TypeError):  # options that are not plain
            if not source.declaration.hooks_take.get("probe"):
                changes = [([file.source for file in one.files], one.options.get(0)) for one in recipe.overrides]
                return digest_of(("headers", recipe.path, code_of(source.declaration), source.options, changes))
        return digest_of(("headers", self._common))


def _may_use_more(stage: StageDeclaration) -> bool:
    """Whether a stage may use files that are not known before it runs."""
    return loads_by_name(stage) or reads_files(stage)


def _known(cache: Cache, key: str) -> dict[str, Seen]:
    data = cache.get(key)
    try:
        return from_json(json.loads(data)) if data is not None else {}
    except (ValueError, TypeError, AttributeError):
        return {}


class KeptTray(Frozen):
    """What the cache knows of a tray: what it adds to common files, its own as they were made, and what they showed."""

    key: str
    made: MadeTray
    files: Mapping[str, Seen]
    shown: str

    @property
    def cautions(self) -> Iterator[tuple[str, int, str]]:
        """The cautions that stages have of its pictures, each with its file and frame."""
        if '"caution": ' in self.made["pictures"]:
            for entry in manifest_of(self.made)["pictures"]:
                if "caution" in entry:
                    yield entry["source"], entry["frame"], str(entry["caution"])


class KeptTrays(Frozen):
    """What the cache knows of the trays of a recipe, by keys.

    A key is the digest of all that a tray's device files are made from: all inputs but the pictures of other trays, and
    the code of the stages. ``shown`` is that of what else its proof shows.
    """

    cache: Cache
    common: str
    """Digest of what all trays are made from."""
    seen: Mapping[str, Seen]
    plan: Plan
    _keys: dict[int | None, str] = field(default_factory=dict)
    _made: list[KeptTray] = field(default_factory=list)
    _shared: dict[str, Any] = field(default_factory=dict)

    def of(self, tray: Tray) -> KeptTray | None:
        """Return what is known of a tray."""
        key = self.key(tray)
        try:
            about = json.loads(self.cache.get(key) or b"")
            files = from_json(about["files"])
            return KeptTray(key=key, made=about["made"], files=files, shown=str(about["shown"]))
        except (ValueError, KeyError, TypeError, AttributeError):
            return None

    def key(self, tray: Tray) -> str:
        """Return the key of a tray."""
        if tray.number not in self._keys:
            looked = [each.sha256 for each in self.seen.values()] if self.plan.looks else []  # surveys see all pictures
            names, seen = self.plan.names, self.seen
            pictures = [f"{seen[file.source].sha256} {names[file]}\0{file.source}" for file in tray.files]
            self._keys[tray.number] = digest_of((self.common, tray.number, pictures, list(tray.cards), looked))
        return self._keys[tray.number]

    @staticmethod
    def shown(chips: Iterable[Chip], findings: str, inputs: str | None, links: Links) -> str:
        """Return the digest of what a tray's proof shows beside the tray: recorded chips, findings on its page, links.

        ``findings`` is the digest of these. By ``inputs``, the digest of all files, the manifest gives the reason why a
        chip differs.
        """
        held = [(chip.device, chip.sha256, chip.image, chip.inputs == inputs, chip.versions) for chip in chips]
        return digest_of((held, findings, json.dumps(links)))

    def take(self, kept: KeptTray, shown: str, staging: Staging) -> bool:
        """Let the files of a tray stay in the output.

        They do not where they are not all there as they were made, something else of the last build is beside them, or
        something else would be shown.
        """
        digests = {name: each.sha256 for name, each in kept.files.items()}
        folders = sorted({"/".join(name.split("/")[:2]) for name in digests})
        if shown != kept.shown or not all(map(is_inside, digests)):
            return False

        def stay(files: Mapping[str, Seen]) -> bool:
            return staging.keep(folders, digests, {name: each.mark for name, each in files.items()})

        if all(each.settled for each in kept.files.values()) and stay(kept.files):
            return True
        try:
            found = {name: _seen(f"{staging.output}/{name}", each) for name, each in kept.files.items()}
        except OSError:
            return False
        if {name: each.sha256 for name, each in found.items()} != digests or not stay(found):
            return False
        self._put(replace(kept, files=found))
        return True

    def add(self, tray: Tray, made: MadeTray, shown: str, folder: Path, digests: Mapping[str, str]) -> None:
        """Note a tray's files, which lie in a folder, not yet in their place. Those noted before are kept."""
        self.keep()
        marks = {name: mark_of(folder / name) for name in digests}
        files = {name: Seen(mark, digests[name], settled=False) for name, mark in marks.items() if mark}
        self._made.append(KeptTray(key=self.key(tray), made=made, files=files, shown=shown))

    def shared(self, made_from: object, make: Callable[[], Value]) -> Value:
        """Return what goes into files that all trays share, JSON values, made now if the cache does not have it."""
        key = digest_of(made_from)
        self._shared[key] = self._known_shared.get(key) or make()
        found: Value = self._shared[key]
        return found

    @cached_property
    def _known_shared(self) -> Mapping[str, Any]:
        try:
            return dict(json.loads(self.cache.get(self._shared_key) or b"{}"))
        except (ValueError, TypeError):
            return {}

    @property
    def _shared_key(self) -> str:
        return digest_of(("shared by all trays", self.common))

    def keep(self) -> None:
        """Keep what was noted. What a user changes from now on shows, except in files that were only just written."""
        for tray in self._made:
            self._put(replace(tray, files={name: each.settled_by_now() for name, each in tray.files.items()}))
        self._made.clear()
        if self._shared and self._shared != self._known_shared:
            self.cache.put(self._shared_key, json.dumps(self._shared).encode())

    def _put(self, tray: KeptTray) -> None:
        about = {"files": as_json(tray.files), "shown": tray.shown, "made": tray.made}
        self.cache.put(tray.key, json.dumps(about).encode())


def _seen(path: str, known: Seen) -> Seen:
    """Return a file as it is; it is read only where its mark does not show that it is as it was."""
    if known.is_surely(path):
        return known
    if mark_of(path, through_links=False) is None:
        raise OSError(errno.ENOENT, "is not a file", path)
    return Seen.now(path)
