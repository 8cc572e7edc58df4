"""Templates of pages."""

from __future__ import annotations

from functools import cache
from typing import Any

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from ladderlight.system.printable import printable


def fill(template: str, **values: Any) -> str:
    """Return a template filled in: text is escaped, and made printable."""
    return environment().get_template(template).render(**values)


@cache
def environment(package: str = "ladderlight.proof") -> Environment:
    """Return the templates of a package, which may include those of the proof; values in them are made printable."""
    found = Environment(
        loader=ChoiceLoader([PackageLoader(package), PackageLoader("ladderlight.proof")]),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.filters["grouped"] = "{:,}".format
    return found


def _shown(value: object) -> object:
    """Make a value's text printable; markup is our own."""
    return value if isinstance(value, Markup) else printable(str(value))
