"""Templates of pages."""

import hashlib
import sys
from contextlib import suppress
from functools import cache
from typing import Any

import jinja2
from jinja2 import BytecodeCache, ChoiceLoader, Environment, PackageLoader, StrictUndefined
from jinja2.bccache import Bucket
from markupsafe import Markup

from ladderlight import __version__
from ladderlight.cache.store import Cache
from ladderlight.system.printable import printable


def fill(template: str, *, package: str = "ladderlight.proof", **values: Any) -> str:
    """Return a template of a package filled in: text is escaped, and made printable."""
    return environment(package).get_template(template).render(**values)


@cache
def environment(package: str = "ladderlight.proof") -> Environment:
    """Return the templates of a package, which may include those of the proof; values in them are made printable."""
    found = Environment(
        loader=ChoiceLoader([PackageLoader(package), PackageLoader("ladderlight.proof")]),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=lambda value: value if isinstance(value, Markup) else printable(str(value)),  # markup is our own
        trim_blocks=True,
        lstrip_blocks=True,
        bytecode_cache=_Kept(),
    )
    found.filters["grouped"] = "{:,}".format
    return found


class _Kept(BytecodeCache):
    """Templates as compiled code, in the user's cache: compiling them takes a tenth of a small build."""

    def load_bytecode(self, bucket: Bucket) -> None:
        """Take the code that is kept, if any; of another source the bucket refuses it."""
        kept = Cache.of_user()
        code = kept.get(self._key(bucket)) if kept else None
        if code:
            with suppress(EOFError, ValueError, TypeError):
                bucket.bytecode_from_string(code)

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep the code, if it can be."""
        kept = Cache.of_user()
        if kept:
            kept.put(self._key(bucket), bucket.bytecode_to_string())

    def _key(self, bucket: Bucket) -> str:
        made_from = (bucket.key, bucket.checksum, jinja2.__version__, sys.version, __version__)
        return hashlib.sha256(repr(made_from).encode()).hexdigest()
