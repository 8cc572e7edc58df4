"""The plugin host."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from ladderlight import plugins
from ladderlight.errors import PluginError
from ladderlight.plugins import StageRegistry, installed_stages
from ladderlight.stages import Kind

GOOD = """
from ladderlight import Picture, stage

@stage(help="Leaves a picture as it is.")
def leave(picture: Picture) -> Picture:
    return picture
"""


class FakeEntry:
    """An entry point of an installed plugin."""

    value = "somewhere"

    def __init__(self, name: str, plugin: object) -> None:
        self.name = name
        self.plugin = plugin

    def load(self) -> object:
        if isinstance(self.plugin, Exception):
            raise self.plugin
        return self.plugin


class Hooked:
    """A plugin with the references it is made with."""

    def __init__(self, *references: str) -> None:
        self.references = references

    @plugins.hookimpl
    def ladderlight_stages(self) -> list[str]:
        return list(self.references)


class Forgotten:
    """A plugin whose author forgot the hook's marker."""

    def ladderlight_stages(self) -> list[str]:
        return []


def registry(monkeypatch: pytest.MonkeyPatch, **entries: object) -> StageRegistry:
    monkeypatch.setattr(plugins, "entry_points", lambda group: [FakeEntry(*item) for item in entries.items()])
    return installed_stages.__wrapped__()


def test_every_built_in_stage_loads_under_its_name_with_help_for_it_and_its_options() -> None:
    built_in = installed_stages()
    assert built_in.warnings == ()
    for name in built_in.names:
        declaration = built_in.get(name)
        assert declaration.name == name
        assert declaration.help.endswith(".")
        for option in declaration.options:
            assert option.option.help, f"option {option.name!r} of stage {name!r} has no help"


def test_a_summary_read_from_source_agrees_with_the_loaded_declaration() -> None:
    built_in = installed_stages()
    for summary in built_in.summaries():
        declaration = built_in.get(summary.name)
        assert (summary.kind, summary.help) == (declaration.kind, declaration.help)


@pytest.mark.parametrize("arguments", [["--help"], ["stages"], ["stages", "--json"], ["build", "--help"]])
def test_help_and_listing_import_nothing_heavy(arguments: list[str]) -> None:
    code = (
        "import sys; from ladderlight.commands import main; main(sys.argv[1:]);"
        "print('heavy:', sorted({'numpy', 'PIL', 'skimage', 'numba'} & set(sys.modules)), file=sys.stderr)"
    )
    result = subprocess.run([sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True)
    assert result.stdout
    assert result.stderr.strip() == "heavy: []"


def test_an_unknown_stage_is_named_with_the_nearest() -> None:
    with pytest.raises(PluginError, match=r"no stage is called 'difuse'; did you mean 'diffuse'\?"):
        installed_stages().get("difuse")


def test_a_broken_plugin_fails_alone_and_is_named_when_a_stage_is_missed(monkeypatch: pytest.MonkeyPatch) -> None:
    found = registry(monkeypatch, good=Hooked("ladderlight_stages.pictures.crop:crop"), bad=ImportError("no lantern"))
    assert found.names == ("crop",)
    assert found.get("crop").kind is Kind.PICTURE
    assert found.warnings == ("plugin 'bad' (somewhere) is left out: ImportError: no lantern",)
    with pytest.raises(PluginError, match="no lantern"):
        found.get("glow")


def test_a_forgotten_hook_marker_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    (warning,) = registry(monkeypatch, absent_minded=Forgotten()).warnings
    assert "'absent_minded'" in warning
    assert "@hookimpl" in warning


def test_a_stage_that_cannot_be_loaded_is_named_with_its_plugin(monkeypatch: pytest.MonkeyPatch) -> None:
    found = registry(monkeypatch, harbour=Hooked("no_such_module:glow"))
    (summary,) = found.summaries()
    assert (summary.name, summary.kind) == ("glow", None)
    with pytest.raises(PluginError, match="stage 'glow' of plugin 'harbour' cannot be loaded: ModuleNotFoundError"):
        found.get("glow")


def test_two_plugins_with_one_stage_name_are_both_named(monkeypatch: pytest.MonkeyPatch) -> None:
    reference = "ladderlight_stages.pictures.crop:crop"
    found = registry(monkeypatch, one=Hooked(reference), two=Hooked(reference))
    with pytest.raises(PluginError, match="stage 'crop' is in more than one plugin: 'one' and 'two'"):
        found.get("crop")
    assert len(found.warnings) == 1


def test_a_local_file_adds_its_stages(tmp_path: Path) -> None:
    file = tmp_path / "lantern.py"
    file.write_text(GOOD)
    found = installed_stages().with_files([file])
    assert found.get("leave").plugin == "lantern.py"
    assert "leave" not in installed_stages().names


def test_a_local_file_without_stages_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "empty.py"
    file.write_text("from ladderlight import stage\n")
    with pytest.raises(PluginError, match=r"empty\.py: declares no stage"):
        installed_stages().with_files([file])


def test_a_local_file_that_fails_is_named_with_the_reason(tmp_path: Path) -> None:
    file = tmp_path / "broken.py"
    file.write_text("1 / 0\n")
    with pytest.raises(PluginError, match=r"broken\.py: cannot be loaded: ZeroDivisionError"):
        installed_stages().with_files([file])


def test_a_local_stage_may_not_take_a_built_in_name(tmp_path: Path) -> None:
    file = tmp_path / "again.py"
    file.write_text(GOOD.replace("def leave", "def crop"))
    with pytest.raises(PluginError, match=r"stage 'crop' is in more than one plugin: 'builtin' and 'again\.py'"):
        installed_stages().with_files([file])
