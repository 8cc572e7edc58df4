"""``ladderlight schema``."""

from __future__ import annotations

from ladderlight.commands.terminal.options import QuietOption


def schema(*, quiet: QuietOption = False) -> None:  # noqa: ARG001 - it has nothing to say but its document
    """Print the JSON schema of recipes, for editors.

    It has all installed stages.
    """
    from ladderlight.commands.reporting import print_document
    from ladderlight.recipe.language.schemas import schema as recipe_schema

    print_document(recipe_schema())
