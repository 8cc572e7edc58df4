"""What each command imports: nobody waits for a library that the command does not use."""

import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from ladderlight import __version__

LOBBY = Path(__file__).parents[3] / "recipes" / "lobby" / "recipe.toml"
WATCHED = {"PIL", "bincopy", "jinja2", "numba", "numpy", "pydantic", "rich", "scipy", "skimage", "tifffile", "typer"}
CODE = (
    "import json, sys; from ladderlight.commands import main; main(sys.argv[1:]); "
    f"print(json.dumps(sorted({WATCHED} & sys.modules.keys())), file=sys.stderr)"
)


@pytest.mark.parametrize(
    ("arguments", "imported"),
    [
        (["--help"], ["typer"]),
        (["stages"], ["pydantic", "typer"]),
        (["stages", "advise"], ["numpy", "pydantic", "typer"]),
        (["check", str(LOBBY)], ["PIL", "numpy", "pydantic", "typer"]),
    ],
    ids=lambda value: " ".join(map(str, value[:2])).removesuffix(str(LOBBY)),
)
def test_commands_import_what_they_use(arguments, imported):
    assert imported_by(*arguments) == imported


def test_a_build_with_nothing_to_do_imports_no_library(project: Callable[..., Path]):
    recipe = project("lobby", build=False)
    time.sleep(0.1)
    assert "numpy" in imported_by("build", str(recipe))
    assert imported_by("build", str(recipe)) == []
    assert imported_by("build", "--quiet", str(recipe)) == []
    picture = next(recipe.parent.glob("*.pgm"))
    picture.write_bytes(picture.read_bytes()[:-1] + b"\0")
    assert imported_by("build", str(recipe)) == ["PIL", "jinja2", "numpy"]
    recipe.write_text(recipe.read_text(encoding="utf-8").replace('"470"', '"430"', 1), encoding="utf-8")
    assert "pydantic" in imported_by("build", str(recipe))


def imported_by(*arguments: str) -> list[str]:
    ran = subprocess.run([sys.executable, "-c", CODE, *arguments], capture_output=True, text=True, check=True)
    return json.loads(ran.stderr.splitlines()[-1])


def test_a_process_ends_without_what_python_does_at_its_end_but_nothing_is_lost():
    code = (
        "import atexit, ctypes, os; from ladderlight.commands import main; ctypes.CDLL(None).printf(b'from C\\n');"
        "atexit.register(print, 'at the end'); held = type('Held', (), {'__del__': lambda _: os.write(1, b'freed')})();"
        "main()"
    )
    ran = subprocess.run([sys.executable, "-c", code, "--version"], capture_output=True, text=True, check=True)
    assert {*ran.stdout.splitlines()} == {"from C", f"ladderlight {__version__}", "at the end"}
