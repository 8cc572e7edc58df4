"""Libraries that are slow to import are loaded by the stages that call them, not by those that are only declared."""

from __future__ import annotations

import subprocess
import sys

SCRIPT = """
import sys
from importlib import import_module
from ladderlight_stages import ladderlight_stages
for name in ladderlight_stages():
    import_module(name.partition(":")[0])
print(*sorted({"numba", "scipy", "skimage", "tifffile"} & sys.modules.keys()))
"""


def test_no_stage_loads_a_slow_library_before_it_is_called() -> None:
    """A recipe's stages are imported to check it; ``import skimage`` alone takes longer than the check."""
    done = subprocess.run([sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=True)
    assert done.stdout.split() == []
