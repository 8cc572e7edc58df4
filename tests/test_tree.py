"""The tree: what lies where, how much of it, and that the guides name what is there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from ladderlight.stages.kinds import Kind
from ladderlight.stages.registry import installed_stages
from ladderlight_stages import ladderlight_stages

ROOT = Path(__file__).parents[1]
ENGINE, STAGES = ROOT / "pipeline" / "ladderlight", ROOT / "plugins" / "ladderlight_stages"
KINDS = {"sources", "pictures", "reductions", "coded", "arrangements", "emissions"}
MOST_MODULES, MOST_LINES = 12, 400


def modules_of(folder: Path) -> set[str]:
    return {file.stem for file in folder.glob("*.py")} - {"__init__"}


def packages_of(folder: Path) -> set[str]:
    return {file.parent.name for file in folder.glob("*/__init__.py")}


def references() -> list[tuple[str, str]]:
    """The built-in stages as module, below their package, and name."""
    pairs = (reference.removeprefix("ladderlight_stages.").split(":") for reference in ladderlight_stages())
    return [(module, name) for module, name in pairs]


def test_the_engine_has_no_loose_modules() -> None:
    assert modules_of(ENGINE) == {"__main__", "errors"}


def test_a_folder_of_a_kind_holds_its_stages_and_nothing_else() -> None:
    for folder in KINDS & packages_of(STAGES):
        homes = {module.split(".")[1] for module, _ in references() if module.split(".")[0] == folder}
        assert modules_of(STAGES / folder) | packages_of(STAGES / folder) == homes
        for package in packages_of(STAGES / folder):
            assert (f"{folder}.{package}.stage", package) in references()


def test_each_stage_lies_in_the_folder_of_its_kind_alone_in_its_module() -> None:
    modules = [module for module, _ in references()]
    assert len(set(modules)) == len(modules)
    folders = {kind: f"{kind}s" for kind in Kind} | {Kind.CODED: "coded"}
    for summary in installed_stages().summaries():
        (module,) = [module for module, name in references() if name == summary.name]
        assert module.split(".")[0] == folders[summary.kind]
        assert summary.name in module.split(".")


@pytest.mark.parametrize("tree", [ENGINE, STAGES], ids=lambda tree: tree.name)
def test_packages_and_files_stay_small(tree: Path) -> None:
    counts = {str(init.parent.relative_to(ROOT)): len(modules_of(init.parent)) for init in tree.rglob("__init__.py")}
    assert {folder: count for folder, count in counts.items() if count > MOST_MODULES} == {}


@pytest.mark.parametrize("tree", ["pipeline", "plugins", "tests"])
def test_no_file_is_long(tree: str) -> None:
    lines = {str(file.relative_to(ROOT)): len(file.read_text().splitlines()) for file in (ROOT / tree).rglob("*.py")}
    assert {file: count for file, count in lines.items() if count > MOST_LINES} == {}


FORMATS = {"binary", "intel_hex", "s_record", "verilog_mem", "c_array", "assembler"}
OWN_WORDS = {
    "stages/code.py": {"read"},  # a method of Python's files
    # The formats of device files have the names of the stages that write them; the engine reads them back.
    "devices/formats.py": FORMATS,
    "readback/dumps.py": FORMATS,
    "proof/burnsheet.py": {"binary", "text"},
    # Keys of tables of the engine's own.
    "bench/sheets/document.py": {"binary"},
    "proof/files.py": {"sheet", "tiles"},
    "proof/page/storing.py": {"crop"},
    "proof/page/data.py": {"text"},
    "commands/terminal/built.py": {"text"},
    "workspace/description.py": {"text"},
    # "text" is the type of a value.
    "stages/wording.py": {"text"},
    "recipe/language/values.py": {"text"},
    "recipe/source/document.py": {"text"},
}


def literals(file: Path) -> set[str]:
    nodes = ast.walk(ast.parse(file.read_text()))
    return {node.value for node in nodes if isinstance(node, ast.Constant) and isinstance(node.value, str)}


def test_the_engine_names_no_stage() -> None:
    names = {
        name for module, name in references() if not module.startswith("cards.")
    }  # these are words for other things
    found = {
        str(file.relative_to(ENGINE)): sorted(named)
        for file in ENGINE.rglob("*.py")
        if (named := literals(file) & names - OWN_WORDS.get(file.relative_to(ENGINE).as_posix(), set()))
    }
    assert found == {}


RECIPE_KEYS = {"address", "bank", "file", "lines", "match", "memory", "name", "number"}
"""Options that have the name of a key of the recipe's own tables, or of a type."""


def test_what_runs_stages_names_no_option_of_one() -> None:
    registry = installed_stages()
    options = {option.name for name in registry.names for option in registry.get(name).options} - RECIPE_KEYS
    assert {"share", "codes", "distance", "kernel"} <= options
    files = [*(ENGINE / "engine").glob("*.py"), *(ENGINE / "stages").glob("*.py"), *(ENGINE / "recipe").glob("*.py")]
    assert {file.name: sorted(named) for file in files if (named := literals(file) & options)} == {}


EXAMPLES = {"plugins/ladderlight_stages/pictures/lift_shadows.py", "tests/plugins/pictures/test_lift_shadows.py"}


@pytest.mark.parametrize("guide", ["DEVELOPERS.md"])
def test_guides_name_files_that_are_there(guide: str) -> None:
    """What is written as code and has a slash or a Python file's ending, from the root or below either package."""
    text = re.sub(r"```.*?```", "", (ROOT / guide).read_text(), flags=re.DOTALL)
    words = {word for word in re.findall(r"`([\w./-]+)`", text) if not word.startswith("...")}
    paths = {word for word in words if "/" in word or word.endswith(".py")} - EXAMPLES
    assert len(paths) > 20
    places = (ROOT, ENGINE, STAGES)
    assert sorted(path for path in paths if not any((place / path).exists() for place in places)) == []


def test_the_tree_of_the_guide_names_every_package() -> None:
    tree = re.search(r"```text\n(pipeline/ladderlight/.*?)```", (ROOT / "DEVELOPERS.md").read_text(), re.DOTALL)
    assert tree is not None
    words = set(re.findall(r"(\w+)/", tree[1]))
    assert packages_of(ENGINE) | packages_of(STAGES) <= words
    assert len(tree[1].splitlines()) <= 28
