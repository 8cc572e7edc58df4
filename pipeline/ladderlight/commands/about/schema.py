"""``ladderlight schema``."""

from __future__ import annotations

from ladderlight.commands.terminal.options import QuietOption


def schema(*, quiet: QuietOption = False) -> None:  # noqa: ARG001 - it prints nothing but its document
    """Print the JSON schema of recipes, for editors.

    The stages of all installed plugins are included.
    """
    from ladderlight.commands.terminal.reporting import print_document
    from ladderlight.recipe.language.schemas import schema as recipe_schema

    print_document(recipe_schema())
