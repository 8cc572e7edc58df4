"""Writes the reference page to the path given, and its pictures into the folder ``reference`` beside it."""

import sys
from pathlib import Path

from ladderlight.errors import LadderlightError
from ladderlight.reference.page import write_reference
from ladderlight.stages.registry import installed_stages

try:
    write_reference(Path(sys.argv[1]), installed_stages())
except LadderlightError as error:
    sys.exit(str(error))
