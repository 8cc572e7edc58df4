"""Writes the reference page with its pictures, or the opening picture of the project's page.

``python -m ladderlight.reference plugins/README.md`` writes the page to that path and its pictures into the folder
``reference`` beside it; ``python -m ladderlight.reference recipes/pictures/opening.png recipes/lobby/recipe.toml``
draws the opening picture from a recipe.
"""

import sys
from pathlib import Path

from ladderlight.errors import LadderlightError
from ladderlight.reference.opening import opening_png
from ladderlight.reference.page import write_reference
from ladderlight.stages.registry import installed_stages

path, *recipes = map(Path, sys.argv[1:])
try:
    if recipes:
        path.write_bytes(opening_png(recipes[0]))
    else:
        write_reference(path, installed_stages())
except LadderlightError as error:
    sys.exit(str(error))
