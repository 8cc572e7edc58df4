"""What each command imports: nobody waits for a library that the command does not use."""

import subprocess
import sys
from pathlib import Path

import pytest

LOBBY = Path(__file__).parents[3] / "recipes" / "lobby" / "recipe.toml"
WATCHED = {"PIL", "bincopy", "jinja2", "numba", "numpy", "pydantic", "rich", "scipy", "skimage", "tifffile"}
CODE = (
    "import sys; from ladderlight.commands import main; main(sys.argv[1:]); "
    f"print(sorted({WATCHED} & sys.modules.keys()), file=sys.stderr)"
)


@pytest.mark.parametrize(
    ("arguments", "imported"),
    [
        (["--help"], []),
        (["stages"], ["pydantic"]),
        (["stages", "advise"], ["numpy", "pydantic"]),
        (["check", str(LOBBY)], ["PIL", "numpy", "pydantic"]),
    ],
    ids=lambda value: " ".join(map(str, value[:2])).removesuffix(str(LOBBY)),
)
def test_commands_import_what_they_use(arguments, imported):
    ran = subprocess.run([sys.executable, "-c", CODE, *arguments], capture_output=True, text=True, check=True)
    assert ran.stderr.splitlines()[-1] == str(imported)
