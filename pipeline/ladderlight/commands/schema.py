"""``ladderlight schema``."""

from __future__ import annotations


def schema() -> None:
    """Print the JSON schema of recipes, with all installed stages, for editors that check TOML."""
    from ladderlight.commands.reporting import print_document
    from ladderlight.recipe.schemas import schema as recipe_schema

    print_document(recipe_schema())
