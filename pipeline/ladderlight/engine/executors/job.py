"""Work in another process: what crosses are bytes and numbers.

A job is what all tasks of one pass through a plan have in common: the recipe, its files as they were read, totals of
surveys, and the sources of the project's own plugins with the modules beside them. Stages are in it as references,
which the other process loads again.
"""

import hashlib
import io
import pickle
import sys
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Self, TypedDict

from ladderlight.cache.store import Cache
from ladderlight.engine.board_use import KnownUses
from ladderlight.engine.plan import Plan
from ladderlight.engine.work import Work
from ladderlight.errors import BuildError
from ladderlight.recipe import Recipe
from ladderlight.recipe.watching import forget_modules
from ladderlight.stages.code import code_of, modules_beside
from ladderlight.stages.declaration import PluginFile
from ladderlight.system.frozen import Frozen
from ladderlight.system.versions import versions


@dataclass(frozen=True)
class Job:
    """A job in bytes."""

    data: bytes

    @classmethod
    def of(cls, work: Work) -> Self:
        """Return the job of some work.

        Raises BuildError when a survey's total, or an option, cannot be sent to another process.
        """
        plan = work.plan
        places = _Places(plan.recipe)
        body = io.BytesIO()
        try:
            _Pickler(body, places).dump((plan.recipe, dict(plan.seen), plan.nonce, work.folds, work.finding))
        except (pickle.PicklingError, TypeError, AttributeError) as error:
            raise BuildError(f"cannot be sent to other processes ({error}); build with threads") from error
        head = {
            "versions": versions(),
            "codes": _codes(plan.recipe),
            "files": dict(places.contents()),
            "importable": places.importable,
            "body": body.getvalue(),
        }
        return cls(zlib.compress(pickle.dumps(head, 5), 1))

    @cached_property
    def digest(self) -> str:
        """SHA-256 of the bytes, which names the job."""
        return hashlib.sha256(self.data).hexdigest()


class Opened(Frozen):
    """A job in the process that works on it."""

    work: Work
    has_modules: bool
    """Whether it has modules of its own, which another job may have under the same names."""

    @classmethod
    def of(cls, data: bytes, cache: Cache, spare: Cache, folder: Path | None = None) -> Self:
        """Open a job; results are kept in the cache, and in the spare one where that has no room.

        The project's own plugins are put into ``folder``, an empty one; None where they lie in their places.

        Raises BuildError when this process would not compute the same: it has other versions, or another edition of a
        stage.
        """
        head: _Head = pickle.loads(zlib.decompress(data))  # noqa: S301 - from the build that this process works for
        here = versions()
        if other := [
            f"{name} {here.get(name, 'missing')} instead of {version}"
            for name, version in head["versions"].items()
            if here.get(name) != version
        ]:
            raise BuildError(f"has {', '.join(other)}; install the same versions")
        files = head["files"]
        if folder is not None:
            for name, content in files.items():
                place = folder / name
                place.parent.mkdir(parents=True, exist_ok=True)
                place.write_bytes(content)
            for name in head["importable"]:
                sys.path.insert(0, str(folder / name))
            forget_modules(_namesakes(folder, files))
        recipe, seen, nonce, folds, finding = _Unpickler(io.BytesIO(head["body"]), folder).load()
        if _codes(recipe) != head["codes"]:
            raise BuildError("has another edition of a stage, or of a library that it imports; install the same")
        plan = Plan(recipe=recipe, seen=seen, nonce=nonce)
        work = Work(plan=plan, cache=cache, uses=KnownUses(cache=cache), spare=spare, folds=folds, finding=finding)
        return cls(work=work, has_modules=bool(files))


class _Head(TypedDict):
    versions: Mapping[str, str]
    codes: Sequence[str]
    files: Mapping[str, bytes]
    importable: Sequence[str]
    body: bytes


class _Places:
    """Where the project's own plugins lie: by the number of their folder and their name in it."""

    def __init__(self, recipe: Recipe) -> None:
        declarations = [use.declaration for use in (*recipe.chain, *recipe.cards)]
        self._plugins = [each.file for each in declarations if each.file is not None]
        self._folders = list(dict.fromkeys(file.path.parent for file in self._plugins))

    def name(self, path: Path, folder: Path) -> str:
        return f"{self._folders.index(folder)}/{path.relative_to(folder).as_posix()}"

    def contents(self) -> Iterator[tuple[str, bytes]]:
        for file in self._plugins:
            folder = file.path.parent
            for path in modules_beside(file.path, file.source):
                yield self.name(path, folder), path.read_bytes()
        for file in self._plugins:
            yield self.name(file.path, file.path.parent), file.source

    @property
    def importable(self) -> list[str]:
        """The folders from which Python imports."""
        known = {Path(place or ".").resolve() for place in sys.path}
        return [str(number) for number, folder in enumerate(self._folders) if folder.resolve() in known]


class _Pickler(pickle.Pickler):
    """Pickles paths as texts, for another system, and a plugin's file as one that may lie elsewhere."""

    def __init__(self, file: io.BytesIO, places: _Places) -> None:
        super().__init__(file, 5)
        self._places = places

    def persistent_id(self, value: object) -> object:
        if isinstance(value, PluginFile):
            name = self._places.name(value.path, value.path.parent)
            return "plugin", str(value.path), value.source, value.home or str(value.path.resolve()), name
        return ("path", str(value)) if isinstance(value, Path) else None


class _Unpickler(pickle.Unpickler):
    def __init__(self, file: io.BytesIO, folder: Path | None) -> None:
        super().__init__(file)
        self._folder = folder

    def persistent_load(self, found: Any) -> Any:
        if found[0] == "path":
            return Path(found[1])
        _, path, source, home, name = found
        return PluginFile(Path(path) if self._folder is None else self._folder / name, source, home)


def _codes(recipe: Recipe) -> list[str]:
    return [code_of(use.declaration) for use in recipe.chain]


def _namesakes(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """List the files of loaded modules that have the names of a job's own, but lie elsewhere."""
    names = {Path(*Path(name).parts[1:]).with_suffix("").as_posix().replace("/", ".") for name in files}
    names |= {name.removesuffix(".__init__") for name in names}
    loaded = [getattr(sys.modules[name], "__file__", None) for name in names if name in sys.modules]
    return [Path(file) for file in loaded if file and not Path(file).is_relative_to(folder)]
