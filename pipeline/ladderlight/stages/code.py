"""The code of a stage as one digest: what must be the same for its earlier results to be its results.

For a built-in stage that is all files of both packages; for one of another installed plugin also those of the plugin's
package; for a stage of a project's own file also that file and the modules which it imports from its folder. Packages
that these import count in turn: by their files, or those that are installed by the versions of all that is. Versions of
the libraries that compute count for every stage.
"""

import ast
import hashlib
import os
import sys
from collections.abc import Iterable, Iterator
from functools import cache
from importlib.machinery import ModuleSpec
from importlib.metadata import distributions, packages_distributions
from importlib.util import find_spec
from pathlib import Path

import ladderlight
from ladderlight.cache.marks import Seen
from ladderlight.stages.declaration import StageDeclaration
from ladderlight.system.value import digest_of
from ladderlight.system.versions import versions

_DECODERS = ("imagecodecs", "pi-heif", "tifffile")
"""Libraries that decode pictures, beside those whose versions a manifest has."""
_DYNAMIC = ("__import__", "importlib", "runpy", "exec", "eval")
"""Names that a module uses where what it loads cannot be seen in it."""
_READING = frozenset(
    {"open", "read", "read_text", "read_bytes", "getline", "getlines", "parse", "connect", "urlopen", "truetype"}
    | {"load", "loadtxt", "genfromtxt", "fromfile", "memmap", "imread", "read_csv"}
    | {"listdir", "scandir", "iterdir", "glob", "rglob"}
)
"""Names of what reads files or folders: the program cannot know which, nor when they change."""


def code_of(declaration: StageDeclaration) -> str:
    """Return the digest of all code that a stage may run."""
    if _is_built_in(declaration):
        return digest_of((_engine(), _package(_top(declaration))))
    files, installed = _closure(declaration)
    contents = [(path.relative_to(top).as_posix(), hashlib.sha256(data).hexdigest()) for path, (top, data) in files]
    return digest_of((_engine(), contents, _distributions_there() if installed else ()))


def code_files(declarations: Iterable[StageDeclaration]) -> list[str]:
    """Return the files whose content :func:`code_of` looks at for some stages, and where it would look at others.

    The latter are not there: modules that would be imported in place of those that are.
    """
    own, others = Path(ladderlight.__file__).parent, set(declarations)
    built_in = {declaration for declaration in others if _is_built_in(declaration)}
    places = {own, *(_folder(top) for top in set(map(_top, built_in)))}
    found = dict.fromkeys(path for place in places for path in _sources(place))
    for declaration in others - built_in:
        found |= dict.fromkeys(str(path) for path, _ in _closure(declaration)[0])
        if declaration.file is not None:
            folder = declaration.file.path.parent
            found |= dict.fromkeys(
                str(place)
                for file in modules_beside(declaration.file.path, declaration.file.source)
                for node in _nodes(file)
                for name in _imported(node, file, folder)
                for place in _places_of(folder, name)
            )
    return list(found)


def loads_by_name(declaration: StageDeclaration) -> bool:
    """Whether a stage of a project's own file may load modules of that folder which are not named in its code."""
    return any(map(_is_dynamic, _own_nodes(declaration)))


def reads_files(declaration: StageDeclaration) -> bool:
    """Whether a stage of a project's own file may read files. Those that its options name are read for it."""
    names = (getattr(node, field, None) for node in _own_nodes(declaration) for field in ("id", "attr", "name"))
    return not _READING.isdisjoint(names)


def _own_nodes(declaration: StageDeclaration) -> Iterator[ast.AST]:
    """Yield what a project's own file and the modules beside it consist of; nothing of an installed plugin."""
    file = declaration.file
    for path in modules_beside(file.path, file.source) if file is not None else ():
        yield from _nodes(path)


def modules_beside(path: Path, source: bytes | None = None) -> list[Path]:
    """Return a Python file, and the files beside it that it imports, in functions too, with those that these import.

    Of a file that loads modules by names which are not written out, all Python files of its folder count.
    """
    folder = path.parent
    waiting, found = [path], {path: None}
    for each in waiting:
        nodes = _nodes(source if each == path and source is not None else each)
        if any(_is_dynamic(node) for node in nodes):
            imported = sorted(folder.rglob("*.py"))
        else:
            names = {name for node in nodes for name in _imported(node, each, folder)}
            imported = [file for name in sorted(names) for file in _places_of(folder, name) if file.is_file()]
        for file in imported:
            if file not in found:
                found[file] = None
                waiting.append(file)
    return list(found)


def _closure(declaration: StageDeclaration) -> tuple[list[tuple[Path, tuple[Path, bytes]]], bool]:
    """Return the files of a stage and of what it imports, and whether installed libraries are among the latter.

    Each file has the folder from which its name is seen, and its content. Libraries that are installed are not gone
    through; packages elsewhere are, those installed for editing among them.
    """
    if declaration.file is not None:
        path, source = declaration.file.path, declaration.file.source
        found = {
            file: (path.parent, source if file == path else file.read_bytes()) for file in modules_beside(path, source)
        }
    else:
        found = _contents(_folder(_top(declaration)))
    waiting, tops = list(found), dict[str, None]()
    beside = declaration.file and declaration.file.path.parent  # whatever other module of a name is loaded
    for each in waiting:
        for top in _elsewhere(found[each][1]) if each.suffix == ".py" else ():
            if top in tops or (beside and any(place.is_file() for place in _places_of(beside, top))):
                continue
            tops[top] = None
            if not _is_installed(top):
                new = {path: content for path, content in _contents(_folder(top)).items() if path not in found}
                found |= new
                waiting += new
    return list(found.items()), any(map(_is_installed, tops))


def _contents(place: Path) -> dict[Path, tuple[Path, bytes]]:
    return {path: (place.parent, path.read_bytes()) for path in map(Path, _sources(place))}


def _is_installed(top: str) -> bool:
    return top in _distributions() and not {"site-packages", "dist-packages"}.isdisjoint(_folder(top).parts)


_distributions = cache(packages_distributions)


@cache
def _distributions_there() -> list[tuple[str, str]]:
    """Return all installed libraries with their versions: what one imports of the others is not gone through."""
    return sorted({(str(each.name), each.version) for each in distributions()})


def _elsewhere(content: bytes) -> list[str]:
    """List the packages that a module imports which are neither Python's own nor the engine's."""
    tops = {name.partition(".")[0] for node in _nodes(content) for name in _absolute(node)}
    known = sys.stdlib_module_names | {"ladderlight", "ladderlight_stages", "numpy", "PIL", "numba", "scipy", "skimage"}
    return sorted(top for top in tops - known if _spec(top) is not None)


def _spec(top: str) -> ModuleSpec | None:
    try:
        return find_spec(top)
    except (ImportError, ValueError):
        return None


@cache
def _engine() -> str:
    """Return the digest of the engine's own code and of the libraries under it."""
    return digest_of((versions(*_DECODERS), sys.implementation.cache_tag, _package("ladderlight")))


@cache
def _package(name: str) -> str:
    folder = _folder(name)
    above = len(str(folder.parent))
    return digest_of([name, *((path[above:], Seen.once(path).sha256) for path in _sources(folder))])


def _top(declaration: StageDeclaration) -> str:
    return declaration.function.__module__.partition(".")[0]


def _is_built_in(declaration: StageDeclaration) -> bool:
    return declaration.file is None and _top(declaration) == "ladderlight_stages"


def _folder(name: str) -> Path:
    """Return the folder of a package, or the file of a module."""
    spec = _spec(name)
    if spec is not None and spec.submodule_search_locations:
        return Path(next(iter(spec.submodule_search_locations)))
    return Path(spec.origin if spec is not None and spec.has_location and spec.origin else sys.executable)


def _sources(place: Path) -> list[str]:
    """Return the files of a package, with the data beside its modules, but not what Python makes of these."""
    if not place.is_dir():
        return [str(place)]
    walked = ((top, name) for top, _, names in os.walk(place) if not top.endswith("__pycache__") for name in names)
    return sorted(f"{top}{os.sep}{name}" for top, name in walked if not name.endswith(".pyc"))


def _nodes(module: Path | bytes) -> list[ast.AST]:
    try:
        return list(ast.walk(ast.parse(module.read_bytes() if isinstance(module, Path) else module)))
    except (OSError, SyntaxError, ValueError):
        return []


def _is_dynamic(node: ast.AST) -> bool:
    named = node.id if isinstance(node, ast.Name) else ""
    return named in _DYNAMIC or any(name.partition(".")[0] in _DYNAMIC for name in _absolute(node))


def _absolute(node: ast.AST) -> Iterator[str]:
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.ImportFrom) and not node.level and node.module:
        yield node.module


def _imported(node: ast.AST, file: Path, folder: Path) -> Iterator[str]:
    """Yield the dotted names that a node may import, as seen from the folder."""
    yield from _absolute(node)
    if isinstance(node, ast.ImportFrom):
        above = ""
        if node.level:
            package = file.parents[node.level - 1]
            if not package.is_relative_to(folder):
                return
            above = ".".join(package.relative_to(folder).parts)
        module = ".".join(filter(None, (above, node.module)))
        yield from filter(None, [module])
        yield from (".".join(filter(None, (module, alias.name))) for alias in node.names)


def _places_of(folder: Path, name: str) -> Iterator[Path]:
    """Yield where the files are that the import of a dotted name runs, if they lie below the folder."""
    parts = name.split(".")
    for count in range(1, len(parts) + 1):
        place = folder.joinpath(*parts[:count])
        yield place.with_name(f"{place.name}.py")
        yield place / "__init__.py"
