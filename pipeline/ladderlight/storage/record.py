"""The record of a build: which recipe has made the files of an output folder, and which files they are."""

import hashlib
import json
import os
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, Self, TypeGuard

from ladderlight.errors import BuildError
from ladderlight.storage.journal import PRIVATE, is_inside
from ladderlight.storage.writing import read_regular
from ladderlight.system.frozen import Frozen
from ladderlight.system.paths import entries_of

RECORD = f"{PRIVATE}/record.json"
FORMAT = 2
MANIFEST = "manifest.json"
_SHEETS = ("burn-sheet.txt", "burn-sheet.html")
OURS = ("devices", "proof", MANIFEST, *_SHEETS, "bench-sheet.txt", "bench-sheet.html")
"""What builds put into their output folder; everything else there is left alone."""
_PROOF = re.compile(r"index\.html|screens/(bank\d+|tiles\d+|waiting)\.png")
_MANIFEST_FORMAT = 1  # of the builds that kept no record, and of all since


class Owner(Frozen):
    """The recipe that a folder is built for."""

    recipe: Path
    """Absolute."""
    project: str

    def seen_from(self, output: Path) -> str:
        """Return the recipe's path from an output folder: the same wherever a project lies."""
        try:
            return Path(os.path.relpath(self.recipe, output)).as_posix()
        except ValueError:  # on another drive
            return self.recipe.as_posix()

    def is_seen_as(self, name: str, output: Path) -> bool:
        """Whether a path from an output folder leads to the recipe, by whatever name the file system takes for it."""
        seen = output / name
        return name == self.seen_from(output) or (seen.exists() and self.recipe.exists() and seen.samefile(self.recipe))


Files = Mapping[str, str | None]
"""Files relative to an output folder, written with ``/``, and the SHA-256 of each; None where it is not known."""


class Record(Frozen):
    """A build: its recipe as seen from the output folder, and its files."""

    recipe: str
    files: Files

    def to_json(self) -> bytes:
        """Return the record's file; it depends on nothing but the record."""
        document = {"format": FORMAT, "recipe": self.recipe, "files": dict(sorted(self.files.items()))}
        return (json.dumps(document, indent=2) + "\n").encode()

    @classmethod
    def read(cls, output: Path) -> Self | None:
        """Read the record of an output folder; None when there is none that can be read. Format 1 has no digests."""
        try:
            found = json.loads(read_regular(output / RECORD))
            recipe, files = found["recipe"], found["files"]
            if found["format"] == 1 and isinstance(files, list):
                files = dict.fromkeys(files)
            elif found["format"] != FORMAT:
                return None
            if isinstance(recipe, str) and isinstance(files, dict) and all(map(is_inside, files)):
                return cls(recipe=recipe, files=files)
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            pass
        return None


def as_written(output: Path, name: str, form: int) -> Any:
    """Return a JSON document that is just what the last build has written, in a format; None where it is not."""
    record = Record.read(output)
    with suppress(OSError, ValueError, KeyError):
        data = read_regular(output / name)
        if record is not None and record.files.get(name) == hashlib.sha256(data).hexdigest():
            found = json.loads(data)
            return found if found["format"] == form else None
    return None


def files_below(folder: Path) -> frozenset[str]:
    """List the files below a folder, relative to it."""
    return frozenset(path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir())


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a regular file. Raises OSError when it cannot be read."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def claim(output: Path, owner: Owner) -> Files:
    """Return the files of the last build of a recipe in its output folder: those that the next one may replace.

    Raises BuildError when the folder is not this recipe's to build in.
    """
    if os.path.lexists(output) and not output.is_dir():
        raise BuildError("is a file; choose another output folder", where=output)
    private = output / PRIVATE
    if private.is_symlink() or (private.exists() and not private.is_dir()):
        raise BuildError(f"{PRIVATE} is not a folder; move it away or choose another output folder", where=output)
    record = Record.read(output)
    if record:
        _refuse_another(record, output, owner)
        manifest = _manifest(output, record.files.get(MANIFEST))
        if isinstance(manifest, dict) and not _begins_as_ours(manifest):
            raise BuildError(
                "is not the manifest of a build; move it away or choose another output folder", where=output / MANIFEST
            )
        return record.files
    manifest = _manifest(output)
    if _is_ours(manifest):
        recipe = manifest["inputs"][0]["file"]
        if (manifest["project"], recipe) != (owner.project, owner.recipe.name):
            raise _of_another(output, f"{recipe} of {manifest['project']!r}")
        return dict.fromkeys(_files_of(manifest, output))
    foreign = [name for name in OURS if os.path.lexists(output / name)]
    if foreign:
        raise BuildError(
            f"has {', '.join(foreign)} that no build has written; move it away or choose another output folder",
            where=output,
        )
    return {}


def refuse_another(output: Path, owner: Owner) -> None:
    """Check that a folder does not hold another recipe's build; without a record that is not known.

    Raises BuildError when it does.
    """
    record = Record.read(output)
    if record:
        _refuse_another(record, output, owner)


def builds_around(around: Path, owner: Owner, revisions: Collection[str]) -> dict[Path, str]:
    """Return builds of a recipe beside those of its revisions, and what each is of: one board, or a revision gone."""
    before = {around: "from before there were revisions"}
    others = (folder for folder in entries_of(around) if folder.name not in revisions)
    before |= dict.fromkeys(others, "of a revision that the recipe no longer has")
    records = {folder: record for folder in before if (record := Record.read(folder))}
    return {
        folder: before[folder]
        for folder, record in records.items()
        if owner.is_seen_as(record.recipe, folder) and (folder / MANIFEST).exists()
    }


def _refuse_another(record: Record, output: Path, owner: Owner) -> None:
    if not owner.is_seen_as(record.recipe, output) and not _is_renamed(record, output, owner):
        raise _of_another(output, _shown(output / record.recipe))


def _is_renamed(record: Record, output: Path, owner: Owner) -> bool:
    """Whether the recipe that built here is gone, and its project goes on under another file name."""
    manifest = None if os.path.lexists(output / record.recipe) else _manifest(output)
    return isinstance(manifest, dict) and manifest.get("project") == owner.project


def _shown(recipe: Path) -> str:
    """Return a path as seen from the current folder if it is below that, and whole if not."""
    place = Path(os.path.realpath(recipe))
    below = place.is_relative_to(Path.cwd())
    return str(place.relative_to(Path.cwd()) if below else place) + ("" if place.exists() else ", which is gone")


def _of_another(output: Path, recipe: str) -> BuildError:
    return BuildError(
        f"holds the build of another recipe, {recipe}; choose another output folder, or delete this one", where=output
    )


def _manifest(output: Path, known: str | None = None) -> object:
    """Read the file with the manifest's name; None when it is not JSON, or has a SHA-256 that is known."""
    try:
        data = read_regular(output / MANIFEST)
        found: object = None if hashlib.sha256(data).hexdigest() == known else json.loads(data.decode("utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    return found


def _is_ours(manifest: object) -> TypeGuard[dict[str, Any]]:
    """Whether a manifest has all that those of builds without a record had, each of its type."""
    if not isinstance(manifest, dict) or not _begins_as_ours(manifest):
        return False
    devices, inputs = manifest["devices"], manifest.get("inputs")
    return (
        all(isinstance(manifest.get(key), list) for key in ("notes", "pictures"))
        and _are_tables(inputs, "file", "sha256")
        and _are_tables(devices, "name", "memory", "part", "sha256")
        and all(
            isinstance(each.get("files"), list) and all(map(is_inside, each["files"])) for each in manifest["devices"]
        )
    )


def _begins_as_ours(manifest: Mapping[str, object]) -> bool:
    """Whether a manifest has our format's number, a project and devices; other programs have manifests as well."""
    return (
        manifest.get("format") == _MANIFEST_FORMAT
        and isinstance(manifest.get("project"), str)
        and isinstance(manifest.get("devices"), list)
    )


def _are_tables(found: object, *texts: str) -> bool:
    return (
        isinstance(found, list)
        and bool(found)
        and all(isinstance(item, dict) and all(isinstance(item.get(text), str) for text in texts) for item in found)
    )


def _files_of(manifest: Mapping[str, Any], output: Path) -> Iterator[str]:
    """List the files of a build that kept no record: those that its manifest names, and those of its proof."""
    yield from (MANIFEST, *_SHEETS)
    yield from (f"devices/{name}" for device in manifest["devices"] for name in device["files"])
    yield from (f"proof/{name}" for name in files_below(output / "proof") if _PROOF.fullmatch(name))


def folders_of(files: Iterable[str]) -> frozenset[str]:
    """List the folders that files lie in, relative as they are."""
    found: set[str] = set()
    for file in files:
        folder = file.rpartition("/")[0]
        while folder and folder not in found:  # then those above are there too
            found.add(folder)
            folder = folder.rpartition("/")[0]
    return frozenset(found)
