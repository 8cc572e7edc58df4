"""The plugin host."""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from ladderlight.commands import main
from ladderlight.errors import PluginError
from ladderlight.stages import registry as plugins
from ladderlight.stages.contract import CONTRACT
from ladderlight.stages.declaration import PluginFile
from ladderlight.stages.kinds import Kind
from ladderlight.stages.registry import StageRegistry, declared, installed_stages

from ...boards import COLOURS, chain

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
    good = Hooked("ladderlight_stages.pictures.crop:crop")
    found = registry(monkeypatch, good=good, bad=ImportError("no lantern"))
    assert found.names == ("crop",)
    assert found.get("crop").kind is Kind.PICTURE
    assert found.warnings == ("plugin 'bad' (somewhere) is left out: ImportError: no lantern",)
    with pytest.raises(PluginError, match="no lantern"):
        found.get("glow")


def test_a_forgotten_hook_marker_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    (warning,) = registry(monkeypatch, absent_minded=Forgotten()).warnings
    assert "'absent_minded'" in warning
    assert "@hookimpl" in warning


def test_a_plugin_for_a_later_contract_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    class Later(Hooked):
        @plugins.hookimpl
        def ladderlight_contract(self) -> int:
            return CONTRACT + 1

    class Now(Hooked):
        @plugins.hookimpl
        def ladderlight_contract(self) -> int:
            return CONTRACT

    crop, tone = (f"ladderlight_stages.pictures.{name}" for name in ("crop:crop", "tone:tone"))
    found = registry(monkeypatch, later=Later(crop), now=Now(tone))
    assert found.names == ("tone",)
    (warning,) = found.warnings
    assert "'later'" in warning
    assert warning.endswith(f"written for version {CONTRACT + 1} of the contract, not {CONTRACT}; update ladderlight")


def test_the_default_chain_is_the_built_in_plugins_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    class Chained(Hooked):
        @plugins.hookimpl
        def ladderlight_default_chain(self) -> list[str]:
            return ["tone", "crop"]

    references = [f"ladderlight_stages.pictures.{name}" for name in ("crop:crop", "tone:tone")]
    assert registry(monkeypatch, harbour=Chained(*references)).default_chain == ()
    found = registry(monkeypatch, builtin=Chained(*references), harbour=Hooked(*references))
    assert found.default_chain == ("tone", "crop")
    assert (found.usual(Kind.PICTURE), found.usual(Kind.SOURCE)) == ("tone", "")


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


def test_a_file_imports_modules_from_its_folder_and_libraries_go_first(tmp_path: Path) -> None:
    (tmp_path / "merrowhithe_lamps.py").write_text("LAMPS = 3")
    (tmp_path / "pluggy.py").write_text("raise SystemExit")
    file = tmp_path / "leave.py"
    file.write_text(
        f"from merrowhithe_lamps import LAMPS\nimport pluggy\nassert pluggy.__version__ and LAMPS == 3{GOOD}"
    )
    code = f"""
from pathlib import Path
from ladderlight.stages.registry import installed_stages
print(installed_stages().with_files([Path({str(file)!r})]).get("leave").name)
"""
    # In a program of its own, which is not begun in that folder.
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "leave\n"


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


def test_a_local_stage_of_a_built_in_name_has_to_be_named_with_its_file(tmp_path: Path) -> None:
    file = tmp_path / "again.py"
    file.write_text(GOOD.replace("def leave", "def crop"))
    found = installed_stages().with_files([file])
    with pytest.raises(PluginError) as caught:
        found.get("crop")
    assert str(caught.value) == (
        "stage 'crop' is in more than one plugin: 'builtin' and 'again.py'; "
        'write use = "builtin.crop" or use = "again.crop"'
    )
    assert found.get("again.crop").help == "Leaves a picture as it is."
    assert found.get("builtin.crop").plugin == "builtin"
    assert found.get("resize").plugin == "builtin"


def test_the_built_in_stage_stands_before_those_of_installed_plugins(monkeypatch: pytest.MonkeyPatch) -> None:
    crop = "ladderlight_stages.pictures.crop:crop"
    found = registry(monkeypatch, harbour=Hooked(crop), builtin=Hooked(crop), quay=Hooked(crop))
    assert found.get("crop").plugin == "builtin"
    assert found.get("harbour.crop").plugin == "harbour"
    assert found.others("crop") == ("harbour.crop", "quay.crop")
    assert (found.others("harbour.crop"), found.warnings) == ((), ())
    assert [(summary.name, summary.use) for summary in found.summaries()] == [
        ("crop", "crop"),
        ("crop", "harbour.crop"),
        ("crop", "quay.crop"),
    ]


@pytest.mark.parametrize("answer", [None, [], "a:b", ["crop"], [3]])
def test_a_plugin_that_gives_no_stages_is_left_out(monkeypatch: pytest.MonkeyPatch, answer: object) -> None:
    class Odd:
        @plugins.hookimpl
        def ladderlight_stages(self) -> object:
            return answer

    found = registry(monkeypatch, odd=Odd(), good=Hooked("ladderlight_stages.pictures.crop:crop"))
    assert found.names == ("crop",)
    (warning,) = found.warnings or ("",)
    assert ("plugin 'odd' (somewhere) is left out: PluginError: ladderlight_stages returns" in warning) is (
        answer != []
    )


RESIZE = """
import sys
from ladderlight import Picture, stage
from ladderlight.stages.registry import hookimpl

print("the harbour says hello")

@stage(help="Resizes in the harbour's way.")
def resize(picture: Picture) -> Picture:
    print("resizing in the harbour's way")
    return picture.with_pixels(picture.pixels[:15, :20])

@hookimpl
def ladderlight_stages():
    return [resize]
"""


@pytest.fixture
def installed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> Iterator[Callable[..., subprocess.CompletedProcess[str]]]:
    """Install a package with one plugin and run a command with it, in a folder with a recipe.

    Each run looks for plugins and loads them anew, as a program of its own would.
    """
    site = tmp_path / "site"
    (site / "harbour-1.0.dist-info").mkdir(parents=True)
    (site / "harbour-1.0.dist-info" / "METADATA").write_text("Metadata-Version: 2.1\nName: harbour\nVersion: 1.0\n")
    (site / "harbour-1.0.dist-info" / "entry_points.txt").write_text("[ladderlight]\nharbour = harbour_stages\n")
    (tmp_path / "a.ppm").write_bytes(b"P6 40 30 255\n" + bytes(range(240)) * 15)
    monkeypatch.syspath_prepend(site)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "dont_write_bytecode", True)

    def run(*arguments: str, code: str = RESIZE, use: str = "resize") -> subprocess.CompletedProcess[str]:
        (site / "harbour_stages.py").write_text(code)
        stages = chain(*([use] if use else ()), "nearest", "bank_pictures", "binary")
        (tmp_path / "recipe.toml").write_text(f'format = 1\n{COLOURS}[pictures]\nfiles = ["a.ppm"]\n{stages}')
        sys.modules.pop("harbour_stages", None)
        importlib.invalidate_caches()
        installed_stages.cache_clear()
        capfd.readouterr()
        status = main(list(arguments))
        return subprocess.CompletedProcess(arguments, status, *capfd.readouterr())

    yield run
    sys.modules.pop("harbour_stages", None)
    installed_stages.cache_clear()


Run = Callable[..., subprocess.CompletedProcess[str]]


def cautions(result: subprocess.CompletedProcess[str]) -> list[str]:
    found = json.loads(result.stdout)["findings"]
    return [finding["message"] for finding in found if finding["where"].startswith("stage ")]


def test_an_installed_stage_of_a_built_in_name_changes_no_recipe(installed: Run) -> None:
    named = installed("check", "recipe.toml", "--json")
    assert named.returncode == 0
    assert cautions(named) == [
        "the built-in stage is used, but an installed plugin has one of this name; "
        'write use = "builtin.resize" or use = "harbour.resize"'
    ]
    for use in ("", "builtin.resize", "harbour.resize"):
        assert cautions(installed("check", "recipe.toml", "--json", use=use)) == []
    built = installed("build", "recipe.toml")
    assert built.returncode == 0, built.stderr
    assert "resizing in" not in built.stderr


def test_an_installed_stage_is_used_where_its_package_is_named_and_its_prints_spoil_nothing(installed: Run) -> None:
    built = installed("build", "recipe.toml", "--json", use="harbour.resize")
    assert built.returncode == 0, built.stderr
    assert json.loads(built.stdout)["ok"] is True
    assert "the harbour says hello" in built.stderr
    assert "resizing in the harbour's way" in built.stderr
    listed = json.loads(installed("stages", "--json").stdout)["stages"]
    assert [(s["use"], s["plugin"]) for s in listed if s["name"] == "resize"] == [
        ("resize", "builtin"),
        ("harbour.resize", "harbour"),
    ]
    assert "Resizes in the harbour's way." in installed("stages", "harbour.resize").stdout


@pytest.mark.parametrize("end", ["sys.exit(0)", "raise GeneratorExit"])
def test_a_plugin_that_ends_the_program_when_it_is_loaded_fails_alone(installed: Run, end: str) -> None:
    code = RESIZE + f"\n{end}\n"
    built = installed("build", "recipe.toml", "--json", code=code)
    assert built.returncode == 0, built.stderr
    assert json.loads(built.stdout)["ok"] is True
    missed = installed("build", "recipe.toml", code=code, use="harbour.resize")
    assert missed.returncode == 1
    assert "plugin 'harbour' (harbour_stages) is left out" in missed.stderr


def test_a_stage_that_ends_the_program_does_not_fake_a_build(installed: Run, tmp_path: Path) -> None:
    code = RESIZE.replace('    print("resizing', '    sys.exit(0)\n    print("resizing')
    built = installed("build", "recipe.toml", code=code, use="harbour.resize")
    assert built.returncode == 3
    assert "stage 'resize' of plugin 'harbour' failed on a.ppm: SystemExit: 0" in built.stderr
    assert not (tmp_path / "out").exists()


def test_a_local_file_that_ends_the_program_is_named(tmp_path: Path) -> None:
    file = tmp_path / "ending.py"
    file.write_text("raise SystemExit(0)\n")
    with pytest.raises(PluginError, match=r"ending\.py: cannot be loaded: SystemExit: 0"):
        installed_stages().with_files([file])


def test_a_reference_to_a_stage_that_a_file_lacks_is_refused(tmp_path):
    file = PluginFile(tmp_path / "lantern.py", b"from ladderlight import Picture, stage\n")
    with pytest.raises(PluginError, match=r"lantern\.py: declares no stage"):
        declared("lantern.py", "glow", file)
