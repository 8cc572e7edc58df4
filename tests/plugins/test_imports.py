"""What loading every stage imports."""

from __future__ import annotations

import subprocess
import sys

CODE = """
import sys
import ladderlight.devices.files
from ladderlight.stages.registry import installed_stages

built_in = installed_stages()
for summary in built_in.summaries():
    built_in.get(summary.name)
print(sorted({"bincopy", "numba", "scipy", "skimage"} & set(sys.modules)))
"""


def test_libraries_of_some_stages_are_imported_when_those_run():
    result = subprocess.run([sys.executable, "-c", CODE], capture_output=True, text=True, check=True)
    assert result.stdout.strip() == "[]"
