"""The generated stage reference."""

from __future__ import annotations

from pathlib import Path

from ladderlight.plugins import installed_stages
from ladderlight.reference import reference

PAGE = Path(__file__).parents[2] / "plugins" / "README.md"


def test_the_page_in_the_repository_is_up_to_date() -> None:
    assert PAGE.read_text(encoding="utf-8") == reference(installed_stages()), (
        "make it anew: python -m ladderlight.reference plugins/README.md"
    )


def test_every_stage_and_option_is_on_the_page() -> None:
    page = reference(installed_stages())
    for name in installed_stages().names:
        section = page.partition(f"### `{name}`\n")[2].partition("\n### ")[0]
        assert installed_stages().get(name).help in section
        for option in installed_stages().get(name).options:
            assert f"| `{option.name}` |" in section
