"""What a build of a recipe reads, looked at again and again."""

import importlib
import sys
from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Self

from ladderlight.recipe.files import picture_files
from ladderlight.recipe.language.model import Recipe
from ladderlight.recipe.source.document import UnreadableError, read_document, walk
from ladderlight.recipe.source.problems import listed
from ladderlight.system.frozen import Frozen
from ladderlight.system.paths import Mark, mark_of


class Reads(Frozen):
    """The files that a build reads, and the patterns of its pictures, which may come to match others."""

    folder: Path
    files: frozenset[Path]
    patterns: tuple[str, ...] = ()

    @classmethod
    def of(cls, *recipes: Recipe) -> Self:
        """Return what the revisions of a recipe read: itself, boards, files of options, plugins and their imports."""
        recipe = recipes[0]  # whose plugins and pictures are those of all
        named = (path for each in recipes for path in each.named)
        files = (recipe.path, *named, *recipe.plugins, *_modules_beside(recipe.plugins))
        return cls(folder=recipe.folder, files=frozenset(files), patterns=recipe.patterns)

    @classmethod
    def of_broken(cls, path: Path, before: Self | None = None) -> Self:
        """Return what a recipe that cannot be loaded read before, and whatever it may name now."""
        reads = before or cls(folder=path.parent, files=frozenset([path]))
        try:
            data = read_document(path, str(path)).data
        except UnreadableError:
            return reads
        named = frozenset(path.parent / text for _, text in walk(data) if isinstance(text, str))
        texts = (text for text in listed(data, "pictures", "files") if isinstance(text, str))
        return replace(reads, files=reads.files | named, patterns=tuple(dict.fromkeys((*reads.patterns, *texts))))

    def look(self) -> dict[Path, Mark | None]:
        """Return the marks of all files as they are now, None for what is not a file."""
        pictures = (file.path for file in picture_files(self.folder, self.patterns)[0])
        return {path: mark_of(path) for path in (*self.files, *pictures)}


def forget_modules(files: Collection[Path]) -> None:
    """Have Python load the modules of some files anew when they are imported the next time."""
    for name, module in list(sys.modules.items()):
        file = getattr(module, "__file__", None)
        if isinstance(file, str) and Path(file) in files:
            del sys.modules[name]
    importlib.invalidate_caches()


def _modules_beside(plugins: Iterable[Path]) -> Iterator[Path]:
    """Yield the files of the modules that are loaded from the folders of some plugins, packages there included."""
    folders = {path.parent for path in plugins}
    for name, module in list(sys.modules.items()):
        file = getattr(module, "__file__", None)
        top = getattr(sys.modules.get(name.partition(".")[0]), "__file__", None)
        if not file or not top or name == "__main__" or name.startswith("ladderlight"):
            continue
        package = Path(top).parent
        if (package.parent if Path(top).name == "__init__.py" else package) in folders:
            yield Path(file)
