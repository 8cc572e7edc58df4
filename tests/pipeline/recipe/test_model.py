from __future__ import annotations

from pathlib import Path

import pytest

from ladderlight.recipe import Override, PictureFile


@pytest.mark.parametrize(
    ("pattern", "fits"),
    [
        ("night-1.png", True),
        ("night-*", True),
        ("pictures/night-1.png", True),
        ("pictures/*", True),
        ("night-?.png", True),
        ("night-[12].png", True),
        ("Night-1.png", False),
        ("night-1", False),
        ("*/night-1.png", True),
        ("other/*", False),
    ],
)
def test_patterns_fit_names_and_paths(pattern: str, fits: bool) -> None:
    file = PictureFile(path=Path("/x/pictures/night-1.png"), source="pictures/night-1.png")
    assert Override(match=pattern, bank=None, options={}).applies_to(file) is fits
