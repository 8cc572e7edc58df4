"""The listing of stages: kind and help, read from the source of a stage's module without running it.

Names are resolved as Python would, through the module's own imports and constants. Only modules of the plugin's own
package are read; none is imported. What cannot be resolved so, such as a help text that is computed, is reported as
unknown until the stage is loaded.
"""

import ast
import importlib.util
import warnings
from collections.abc import Callable
from functools import cached_property
from importlib.abc import InspectLoader
from importlib.machinery import ModuleSpec, PathFinder
from typing import Any

from ladderlight.errors import PluginError
from ladderlight.stages.declaration import declaration_of
from ladderlight.stages.kinds import Kind, flow_name, kind_of, many_of
from ladderlight.system.frozen import Frozen

StageReference = str | Callable[..., Any]
_DEEPEST = 12  # names that lead to names are followed so far


class StageSummary(Frozen):
    """What a listing shows of a stage."""

    name: str
    kind: Kind | None
    help: str
    plugin: str
    use: str
    """What a recipe writes to use it: its name, or ``plugin.name`` where the name alone means another or none."""


def summary_of(reference: StageReference, *, name: str, plugin: str, use: str) -> StageSummary:
    """Return the summary of a stage without importing its module."""
    kind, text = _declared(reference, plugin)
    return StageSummary(name=name, kind=kind, help=text, plugin=plugin, use=use)


def _declared(reference: StageReference, plugin: str) -> tuple[Kind | None, str]:
    if not isinstance(reference, str):
        try:
            declaration = declaration_of(reference, plugin=plugin)
        except PluginError as error:
            return None, f"({error})"
        return declaration.kind, declaration.help
    module, _, attribute = reference.partition(":")
    source, attribute = _Module(name=module).home_of(attribute)
    function = source.names.get(attribute)
    if function is None:
        return None, "(its source cannot be read)"
    if not isinstance(function, ast.FunctionDef):
        return None, "(known when it is loaded)"
    first = function.args.args[0].annotation if function.args.args else None
    kind = kind_of(source.type_of(first), source.type_of(function.returns))
    return kind, source.help_of(function) or "(known when it is loaded)"


class _Module(Frozen):
    """A module by its source, and the names that it defines at its top level."""

    name: str

    @cached_property
    def spec(self) -> ModuleSpec | None:
        """Where the module lies. Its packages are not imported either."""
        top, *parts = self.name.split(".")
        try:
            spec = importlib.util.find_spec(top)
            for index in range(len(parts)):
                if spec is None:
                    return None
                path = spec.submodule_search_locations
                spec = PathFinder.find_spec(".".join([top, *parts[: index + 1]]), path)
        except KeyboardInterrupt:
            raise
        except BaseException:  # noqa: BLE001 - an installed finder may fail in any way
            return None
        return spec

    @cached_property
    def names(self) -> dict[str, ast.AST]:
        """What each name at the top level was bound by last: an import's alias, a function, or a value."""
        source = None
        if self.spec is not None and isinstance(self.spec.loader, InspectLoader):
            try:
                with warnings.catch_warnings(action="ignore"):
                    source = ast.parse(self.spec.loader.get_source(self.name) or "")
            except (SyntaxError, ValueError, OSError, ImportError):
                return {}
        names: dict[str, ast.AST] = {}
        for statement in _top_level(source.body if source else []):
            if isinstance(statement, ast.ImportFrom):
                names |= {alias.asname or alias.name: statement for alias in statement.names}
            elif isinstance(statement, ast.Import):
                names |= {alias.asname or alias.name.partition(".")[0]: statement for alias in statement.names}
            elif isinstance(statement, ast.FunctionDef | ast.ClassDef):
                names[statement.name] = statement
            elif isinstance(statement, ast.Assign):
                names |= {target.id: statement.value for target in statement.targets if isinstance(target, ast.Name)}
            elif isinstance(statement, ast.AnnAssign) and statement.value and isinstance(statement.target, ast.Name):
                names[statement.target.id] = statement.value
        return names

    def home_of(self, name: str, depth: int = 0) -> tuple["_Module", str]:
        """Return the module where a name is bound and its name there, following imports in the plugin's package."""
        node = self.names.get(name)
        if isinstance(node, ast.ImportFrom) and depth < _DEEPEST:
            module, original = self._imported(node), _original(node, name)
            if module.partition(".")[0] == self.name.partition(".")[0]:
                return _Module(name=module).home_of(original, depth + 1)
        return self, name

    def _imported(self, node: ast.ImportFrom) -> str:
        """Return the absolute name of the module that an import names."""
        if not node.level:
            return node.module or ""
        package = self.name.split(".")
        is_package = self.spec is not None and self.spec.submodule_search_locations is not None
        package = package[: len(package) - node.level + is_package]
        return ".".join([*package, *([node.module] if node.module else [])])

    def help_of(self, function: ast.FunctionDef) -> str:
        """Return the help of a stage's decorator; empty when it is not a constant."""
        calls = (decorator for decorator in function.decorator_list if isinstance(decorator, ast.Call))
        keywords = (keyword for call in calls for keyword in call.keywords if keyword.arg == "help")
        return next((self._text(keyword.value) or "" for keyword in keywords), "")

    def _text(self, node: ast.AST, depth: int = 0) -> str | None:
        """Return the text that an expression of constants stands for, or None."""
        if isinstance(node, ast.Constant):
            return node.value if isinstance(node.value, str) else None
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
            parts = (self._text(node.left, depth + 1), self._text(node.right, depth + 1))
            return None if None in parts else "".join(map(str, parts))
        if not isinstance(node, ast.Name) or depth > _DEEPEST:
            return None
        home, name = self.home_of(node.id)
        return home._text(home.names.get(name, node), depth + 1)  # noqa: SLF001 - another of this class

    def type_of(self, node: ast.AST | None, depth: int = 0) -> str:
        """Return the name that :func:`ladderlight.stages.kinds.flow_type` gives to the type of an annotation."""
        if node is None or depth > _DEEPEST:
            return ""
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            return self.type_of(ast.parse(node.value, mode="eval").body, depth + 1)
        if isinstance(node, ast.Subscript):
            outer = self._path(node.value)
            items = list(node.slice.elts) if isinstance(node.slice, ast.Tuple) else [node.slice]
            if outer in ("typing.Annotated", "typing_extensions.Annotated"):
                return self.type_of(items[0], depth + 1)
            return many_of(outer, [self.type_of(items[0], depth + 1)])
        if isinstance(node, ast.Name):
            home, name = self.home_of(node.id)
            bound = home.names.get(name)
            if isinstance(bound, ast.expr):
                return home.type_of(bound, depth + 1)
        return flow_name(self._path(node))

    def _path(self, node: ast.AST) -> str:
        """Return the dotted path that a name or attribute stands for."""
        if isinstance(node, ast.Attribute):
            return f"{self._path(node.value)}.{node.attr}"
        if not isinstance(node, ast.Name):
            return ""
        home, name = self.home_of(node.id)
        bound = home.names.get(name)
        if isinstance(bound, ast.ImportFrom):
            return f"{home._imported(bound)}.{_original(bound, name)}"  # noqa: SLF001 - another of this class
        if isinstance(bound, ast.Import):
            return next((alias.name for alias in bound.names if alias.asname == name), name)
        return f"builtins.{name}" if bound is None else f"{home.name}.{name}"


def _original(node: ast.ImportFrom, name: str) -> str:
    """Return what an import's module calls a name."""
    return next(alias.name for alias in node.names if name == (alias.asname or alias.name))


def _top_level(body: list[ast.stmt]) -> list[ast.stmt]:
    """Return the statements of a module, those below an ``if`` or ``try`` included."""
    found: list[ast.stmt] = []
    for statement in body:
        if isinstance(statement, ast.If):
            found += _top_level([*statement.orelse, *statement.body])
        elif isinstance(statement, ast.Try):
            found += _top_level([part for handler in statement.handlers for part in handler.body] + statement.body)
        else:
            found.append(statement)
    return found
