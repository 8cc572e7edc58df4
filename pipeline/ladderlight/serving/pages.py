"""Pages as they are served: with a place for errors of the last build, and the script that refreshes them."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files
from typing import Any

from markupsafe import Markup

from ladderlight.proof.templating import environment
from ladderlight.serving.bulletin import Notice

POLICY = "; ".join(
    (
        "default-src 'none'",
        "img-src 'self' data: blob:",
        "style-src 'unsafe-inline'",
        "script-src 'unsafe-inline'",
        "connect-src 'self'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
)
"""What a page may load. It takes the place of the page's own, which lets nothing be loaded."""

_OWN_POLICY = re.compile(rb"<meta http-equiv=.?Content-Security-Policy[^>]*>\s*", re.IGNORECASE)
_BODY = re.compile(rb"<body[^>]*>", re.IGNORECASE)


def served_page(page: bytes, notice: Notice, folder: str) -> bytes:
    """Return a page of an output folder with the errors of the last build on it."""
    page = _OWN_POLICY.sub(b"", page, count=1)
    place = f"<style>\n{_own('live.css')}</style>\n{_filled('live.html', notice, folder, stale=True)}".encode()
    page = _BODY.sub(lambda found: found[0] + b"\n" + place, page, count=1)
    return page + f'<script type="module">{_own("live.js")}</script>\n'.encode()


def page_instead(notice: Notice, folder: str) -> bytes:
    """Return the page for one that is not there: nothing is built yet, its folder was deleted, or another has it."""
    gone = bool(notice.builds) and not notice.site.has_proof(folder)
    more = {"gone": gone, "css": _own("live.css"), "script": _own("live.js")}
    return _filled("instead.html", notice, folder, stale=False, **more).encode()


def _filled(template: str, notice: Notice, folder: str, **more: Any) -> str:
    build = notice.builds.get(folder, 0)
    values = {"build": build, "folder": folder, "errors": notice.errors, "gone": False, **more}
    return environment("ladderlight.serving").get_template(template).render(**values)


@cache
def _own(name: str) -> Markup:
    return Markup(files("ladderlight.serving").joinpath(name).read_text(encoding="utf-8"))  # noqa: S704 - our own file
