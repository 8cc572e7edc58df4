"""The plugin host: which stages there are, and where they come from.

A plugin is a module that implements the hook ``ladderlight_stages``. Installed packages name theirs under the entry
point group ``ladderlight``; the built-in stages are registered in that same way. A recipe may name local Python files.
"""

import hashlib
import importlib.util
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import cache
from importlib import import_module
from importlib.metadata import entry_points
from pathlib import Path
from types import ModuleType
from typing import Any, Self

import pluggy

from ladderlight.errors import PluginError, nearest_word
from ladderlight.stages.contract import CONTRACT, mark_of
from ladderlight.stages.declaration import PluginFile, StageDeclaration, declaration_of, qualified_name
from ladderlight.stages.kinds import Kind
from ladderlight.stages.listing import StageReference, StageSummary, summary_of
from ladderlight.system.frozen import Frozen
from ladderlight.system.paths import path_trouble

PROJECT = "ladderlight"
BUILT_IN = "builtin"
"""Name of the built-in stages' entry point."""
_SOURCE = "__ladderlight_source__"
hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


class Hooks:
    """The hooks that a plugin may implement."""

    @hookspec
    def ladderlight_contract(self) -> int:
        """Return the version of the contract that the plugin was written for; 1 without this hook."""
        raise NotImplementedError

    @hookspec
    def ladderlight_stages(self) -> Sequence[StageReference]:
        """Return the plugin's stages, as ``"package.module:function"`` (imported only when used) or as functions."""
        raise NotImplementedError

    @hookspec
    def ladderlight_default_chain(self) -> Sequence[str]:
        """Return the names of the stages of a recipe that names none; only the built-in plugin is asked."""
        raise NotImplementedError


class _Registered(Frozen):
    reference: StageReference
    plugin: str
    file: PluginFile | None = None

    @property
    def name(self) -> str:
        if isinstance(self.reference, str):
            return self.reference.rpartition(":")[2]
        return self.reference.__name__

    @property
    def qualified(self) -> str:
        return qualified_name(self.plugin, self.name)


class StageRegistry(Frozen):
    """The stages that can be used, by name; the plugins that cannot, with the reason."""

    _stages: dict[str, tuple[_Registered, ...]]
    default_chain: tuple[str, ...] = ()
    """Names of the built-in stages that a recipe without stages has."""
    broken: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """All stage names, sorted."""
        return tuple(sorted(self._stages))

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is wrong with installed plugins, one line each."""
        meant = {name: self._meant(name) for name in self.names}
        return self.broken + tuple(_doubled_text(name, items) for name, items in meant.items() if len(items) > 1)

    @property
    def uses(self) -> tuple[str, ...]:
        """What a recipe can write to use a stage, one name for each, sorted."""
        return tuple(sorted(map(self._use, self._all())))

    def others(self, name: str) -> tuple[str, ...]:
        """Return the qualified names of the installed stages that the built-in one of this name stands before."""
        meant = self._meant(name)
        return tuple(item.qualified for item in self._stages.get(name, ()) if item not in meant)

    def get(self, name: str) -> StageDeclaration:
        """Import a stage and read its declaration.

        ``name`` is a stage's, or ``plugin.stage``. A name alone means the built-in stage before those of installed
        packages.

        Raises PluginError when no plugin or more than one has a stage of that name, or the one that has it cannot be
        loaded.
        """
        meant = self._meant(name)
        if not meant:
            known = self.names if "." not in name else [item.qualified for item in self._all()]
            hint = "; ".join((nearest_word(name, known), *self.broken))
            raise PluginError(f"no stage is called {name!r}; {hint}")
        if len(meant) > 1:
            raise PluginError(_doubled_text(name, meant))
        return _load(meant[0])

    def usual(self, kind: Kind) -> str:
        """Return the name of the default chain's first stage of a kind, empty when it has none."""
        known = ((name, self._stages.get(name, ())) for name in self.default_chain)
        built_in = ((name, item) for name, items in known for item in items if item.plugin == BUILT_IN)
        return next((name for name, item in built_in if self._summary(item).kind is kind), "")

    def built_in(self, kind: Kind) -> list[str]:
        """Return the qualified names of the built-in stages of a kind, in the order of their plugin's list."""
        own = (item for item in self._all() if item.plugin == BUILT_IN)
        return [item.qualified for item in own if self._summary(item).kind is kind]

    def summaries(self) -> list[StageSummary]:
        """Describe all stages, in the order of their kinds, without importing them."""
        return sorted(
            map(self._summary, self._all()), key=lambda item: (item.kind.rank if item.kind else len(Kind), item.name)
        )

    def with_files(self, files: Iterable[Path]) -> Self:
        """Add the stages of a project's own Python files, which are run by this.

        Raises PluginError when a file cannot be run or declares no stage.
        """
        stages = dict(self._stages)
        for path in files:
            with path_trouble(PluginError, path, "cannot be loaded", "name a Python file that can be read"):
                file = PluginFile(path, path.read_bytes())
            for item in _stages_in(file, run=True):
                stages[item.name] = (*stages.get(item.name, ()), item)
        return replace(self, _stages=stages)

    def _summary(self, item: _Registered) -> StageSummary:
        return summary_of(item.reference, name=item.name, plugin=item.plugin, use=self._use(item))

    def _all(self) -> Iterator[_Registered]:
        for registered in self._stages.values():
            yield from registered

    def _meant(self, name: str) -> tuple[_Registered, ...]:
        registered = self._stages.get(name, ())
        if not registered:
            same = self._stages.get(name.rpartition(".")[2], ())
            return tuple(item for item in same if item.qualified == name)
        # A project's own file is no accident of what is installed: the recipe has to say which of the two it means.
        if any(item.plugin.endswith(".py") for item in registered):
            return registered
        return tuple(item for item in registered if item.plugin == BUILT_IN) or registered

    def _use(self, item: _Registered) -> str:
        return item.name if self._meant(item.name) == (item,) else item.qualified


@cache
def installed_stages() -> StageRegistry:
    """Register all installed plugins. One that fails is left out and recorded in ``broken``."""
    stages: dict[str, tuple[_Registered, ...]] = {}
    broken = []
    default_chain: tuple[str, ...] = ()
    for entry in sorted(entry_points(group=PROJECT), key=lambda entry: (entry.name, entry.value)):
        try:
            plugin = entry.load()
            found = _stages_of(plugin, entry.name)
            if entry.name == BUILT_IN:
                chains = _manager(plugin, BUILT_IN).hook.ladderlight_default_chain()
                default_chain = tuple(name for names in chains for name in names)
        except KeyboardInterrupt:
            raise
        except BaseException as error:  # noqa: BLE001 - a plugin may fail in any way, and must fail alone
            broken.append(f"plugin {entry.name!r} ({entry.value}) is left out: {type(error).__name__}: {error}")
            continue
        for item in found:
            stages[item.name] = (*stages.get(item.name, ()), item)
    return StageRegistry(_stages=stages, default_chain=default_chain, broken=tuple(broken))


def declared(plugin: str, name: str, file: PluginFile | None) -> StageDeclaration:
    """Return the stage that a reference means, loading what is not loaded yet.

    Raises PluginError when there is no such stage here, or its plugin cannot be loaded.
    """
    if file is None:
        return installed_stages().get(qualified_name(plugin, name))
    for item in _stages_in(file):
        if item.name == name:
            return _load(item)
    raise PluginError(f"declares no stage {name!r}; load the recipe again", where=file.path)


def _stages_in(file: PluginFile, *, run: bool = False) -> list[_Registered]:
    """List the stages of a project's own file, which is run unless it is loaded as it is; with ``run``, always."""
    home = file.home or str(file.path.resolve())
    name = f"ladderlight_local_{file.path.stem}_{hashlib.sha256(os.fsencode(home)).hexdigest()[:12]}"
    module = sys.modules.get(name)
    if run or module is None or vars(module).get(_SOURCE) != file:
        module = _run(file, name)
    return [replace(item, file=file) for item in _stages_of(module, file.path.name)]


def _stages_of(plugin: Any, name: str) -> list[_Registered]:
    """Return the stages of one plugin, by a manager of its own so that it can fail alone."""
    if isinstance(plugin, ModuleType) and name.endswith(".py") and not _has_hook(plugin):
        references: list[StageReference] = [
            value for value in vars(plugin).values() if mark_of(value) and value.__module__ == plugin.__name__
        ]
        if not references:
            raise PluginError(f"{name}: declares no stage; mark a function with @stage(help=...)")
        return [_Registered(reference=reference, plugin=name) for reference in references]
    manager = _manager(plugin, name)
    manager.check_pending()
    if not _has_hook(plugin):
        raise PluginError("it implements no hook; mark ladderlight_stages with @hookimpl")
    version = max(manager.hook.ladderlight_contract(), default=CONTRACT)
    if version > CONTRACT:
        raise PluginError(f"written for version {version} of the contract, not {CONTRACT}; update ladderlight")
    return [_Registered(reference=reference, plugin=name) for reference in _references(manager)]


def _manager(plugin: Any, name: str) -> pluggy.PluginManager:
    manager = pluggy.PluginManager(PROJECT)
    manager.add_hookspecs(Hooks)
    manager.register(plugin, name)
    return manager


def _references(manager: pluggy.PluginManager) -> list[StageReference]:
    results = manager.hook.ladderlight_stages()  # without those that are None
    if not results or isinstance(results[0], str):
        raise PluginError('ladderlight_stages returns no list; return ["package.module:function"] or the functions')
    for reference in results[0]:
        if not (":" in reference if isinstance(reference, str) else mark_of(reference)):
            raise PluginError(f"ladderlight_stages returns {reference!r}, which is neither a stage nor module:function")
    return list(results[0])


def _has_hook(plugin: Any) -> bool:
    return hasattr(getattr(plugin, "ladderlight_stages", None), f"{PROJECT}_impl")


def _load(item: _Registered) -> StageDeclaration:
    reference = item.reference
    if isinstance(reference, str):
        module, _, attribute = reference.partition(":")
        try:
            reference = getattr(import_module(module), attribute)
        except KeyboardInterrupt:
            raise
        except BaseException as error:
            raise PluginError(
                f"stage {item.name!r} of plugin {item.plugin!r} cannot be loaded: {type(error).__name__}: {error}"
            ) from error
    if item.file is None:
        return _declared(reference, item.plugin)
    return replace(declaration_of(reference, plugin=item.plugin), file=item.file)


@cache
def _declared(function: Callable[..., Any], plugin: str) -> StageDeclaration:
    """Read a declaration once in a process: the model of its options takes longer to make than to use."""
    return declaration_of(function, plugin=plugin)


def _run(file: PluginFile, name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, file.path)
    if spec is None:
        raise PluginError("not a Python file; name a file that ends in .py", where=file.path)
    module = importlib.util.module_from_spec(spec)
    setattr(module, _SOURCE, file)
    sys.modules[name] = module
    if (folder := str(file.path.absolute().parent)) not in sys.path:
        sys.path.append(folder)  # for modules beside it, also later; last, so that they take no library's place
    try:
        exec(compile(file.source, str(file.path), "exec"), vars(module))  # noqa: S102 - the recipe names it
    except BaseException as error:
        sys.modules.pop(name, None)
        if isinstance(error, KeyboardInterrupt):
            raise
        raise PluginError(f"cannot be loaded: {type(error).__name__}: {error}", where=file.path) from error
    return module


def _doubled_text(name: str, registered: Sequence[_Registered]) -> str:
    plugins = " and ".join(repr(item.plugin) for item in registered)
    names = list(dict.fromkeys(item.qualified for item in registered))
    action = " or ".join(f'use = "{use}"' for use in names)
    if len(names) < len(registered):
        return f"stage {name!r} is declared more than once: {plugins}; rename one or uninstall a plugin"
    return f"stage {name!r} is in more than one plugin: {plugins}; write {action}"
