"""Kinds and help of stages, read from the source of a plugin without running it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from ladderlight.stages.kinds import Kind
from ladderlight.stages.listing import summary_of

STAGES = {
    "sources.py": """
from pathlib import Path as P
import collections.abc as abc
import ladderlight as ll
from harbour_lamps.texts import HELP
from .texts import PART

@ll.stage(help=HELP)
def lamp(path: P) -> abc.Iterator[ll.Picture]: ...
""",
    "pictures.py": """
from ladderlight import Picture as Pic, stage
from . import texts

if texts is None:
    from numpy import nothing
HELP = "Dims."
SPLIT = ("Dims "
         "twice.")

@stage(help=HELP)
def dim(picture: Pic) -> "Pic": ...

@stage(help=SPLIT)
def twice(picture: Pic) -> Pic: ...
""",
    "reductions.py": """
import numpy as np
from typing import Annotated
from ladderlight import stage
from .types import In, Coded, Many, Filled
from .texts import PART as END

@stage(help="Reduces" + END)
def reduce(picture: Annotated[In, "linear"]) -> Coded: ...

@stage(help="Arranges.")
def arrange(pictures: Many) -> Filled: ...
""",
    "odd.py": """
import numpy as np
from ladderlight import stage, Picture
from os import sep as HELP
from .texts import *

class Contents: ...

@stage(help=f"Computed {np.pi}.")
def computed(picture: Picture) -> Picture: ...

@stage(help="Another's contents.")
def other(picture: Picture) -> Contents: ...

made = stage(help="Made.")(lambda picture: picture)
""",
    "texts.py": 'HELP: str = "Lights."\nPART = " all."\n',
    "types.py": """
import numpy
from collections.abc import Sequence
from ladderlight.flow.pictures import Contents as Filled, Picture as In
from ladderlight import CodedPicture

Coded = CodedPicture
Many = Sequence[Coded]
""",
    "__init__.py": "from .pictures import dim as again\nraise RuntimeError('a package that must not be run')\n",
}


@pytest.fixture
def lamps(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A plugin package that cannot be imported, on the path."""
    (tmp_path / "harbour_lamps").mkdir()
    for name, text in STAGES.items():
        (tmp_path / "harbour_lamps" / name).write_text(text)
    monkeypatch.syspath_prepend(tmp_path)


UNKNOWN = "(known when it is loaded)"


@pytest.mark.usefixtures("lamps")
@pytest.mark.parametrize(
    ("reference", "kind", "text"),
    [
        ("harbour_lamps.sources:lamp", Kind.SOURCE, "Lights."),
        ("harbour_lamps.pictures:dim", Kind.PICTURE, "Dims."),
        ("harbour_lamps.pictures:twice", Kind.PICTURE, "Dims twice."),
        ("harbour_lamps:again", Kind.PICTURE, "Dims."),
        ("harbour_lamps.reductions:reduce", Kind.REDUCTION, "Reduces all."),
        ("harbour_lamps.reductions:arrange", Kind.ARRANGEMENT, "Arranges."),
        ("harbour_lamps.odd:computed", Kind.PICTURE, UNKNOWN),
        ("harbour_lamps.odd:other", None, "Another's contents."),
        ("harbour_lamps.odd:made", None, UNKNOWN),
        ("harbour_lamps.odd:missing", None, "(its source cannot be read)"),
        ("harbour_lamps.nowhere:missing", None, "(its source cannot be read)"),
    ],
)
def test_names_are_resolved_as_python_would(reference: str, kind: Kind | None, text: str) -> None:
    summary = summary_of(reference, name="s", plugin="harbour", use="s")
    assert (summary.kind, summary.help) == (kind, text)


@pytest.mark.usefixtures("lamps")
def test_nothing_of_the_plugin_is_run() -> None:
    summary_of("harbour_lamps.reductions:reduce", name="reduce", plugin="harbour", use="reduce")
    assert not [name for name in sys.modules if name.startswith("harbour_lamps")]


def test_the_whole_listing_loads_no_stage_and_nothing_heavy() -> None:
    heavy = "{'numpy', 'PIL', 'scipy', 'skimage', 'numba'}"
    code = (
        "import sys; from ladderlight.stages.registry import installed_stages; installed_stages().summaries();"
        f"print(sorted(name for name in sys.modules if name in {heavy} or name.startswith('ladderlight_stages.')))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
