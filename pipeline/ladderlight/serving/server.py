"""The server: this machine alone, this site's own pages alone, reading alone."""

import re
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler
from importlib.resources import files
from pathlib import PurePosixPath
from socketserver import ThreadingTCPServer
from typing import Any

from markupsafe import Markup

from ladderlight.errors import BuildError
from ladderlight.proof.templating import environment
from ladderlight.serving.site import Bulletin, Notice

EVENTS = "/.events"
_HEARTBEAT = 15.0  # seconds after which a connection without news is tried
_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".json": "application/json",
    ".png": "image/png",
    ".txt": "text/plain; charset=utf-8",
}
_BYTES = "application/octet-stream"
POLICY = (
    "default-src 'none'; img-src 'self' data: blob:; style-src 'unsafe-inline'; script-src 'unsafe-inline'; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""What a page may load. It takes the place of the page's own, which lets nothing be loaded."""
_HEADERS = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": POLICY,
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}
_OWN_POLICY = re.compile(rb"<meta http-equiv=.?Content-Security-Policy[^>]*>\s*", re.IGNORECASE)
_BODY = re.compile(rb"<body[^>]*>", re.IGNORECASE)


@contextmanager
def serving(bulletin: Bulletin) -> Iterator[str]:
    """Serve what a bulletin has, at a free port of 127.0.0.1, until the block ends; yield the address."""
    with _Server(bulletin) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.1}, daemon=True)
        thread.start()
        try:
            yield f"http://{server.host}/"
        finally:
            bulletin.end()
            server.shutdown()
            thread.join()


class _Server(ThreadingTCPServer):
    daemon_threads = True
    request_queue_size = 64

    def __init__(self, bulletin: Bulletin) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.bulletin = bulletin
        port = self.server_address[1]
        self.host = f"127.0.0.1:{port}"
        self.hosts = {self.host, f"localhost:{port}"}

    def handle_error(self, request: Any, client_address: Any) -> None:
        if not isinstance(sys.exception(), OSError):  # a browser that has gone
            super().handle_error(request, client_address)


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server_version, sys_version = "ladderlight", ""
    timeout = 30.0
    server: _Server

    def parse_request(self) -> bool:
        """Read a request, and refuse it before anything else is done for it."""
        if not super().parse_request():
            return False
        status = self._refusal()
        if status is not None:
            self.close_connection = True
            self._send(status, _TYPES[".txt"], f"{status.phrase}\n".encode())
        return status is None

    def _refusal(self) -> HTTPStatus | None:
        """Return why a request is refused: a page of another site may have sent it, whatever name it has for us."""
        headers, hosts = self.headers, self.server.hosts
        if self.command not in ("GET", "HEAD"):
            return HTTPStatus.METHOD_NOT_ALLOWED
        named = headers.get_all("Host", [])
        if len(named) != 1 or named[0].casefold() not in hosts:
            return HTTPStatus.FORBIDDEN
        if not {origin.casefold() for origin in headers.get_all("Origin", [])} <= {f"http://{host}" for host in hosts}:
            return HTTPStatus.FORBIDDEN
        opens_page = headers.get("Sec-Fetch-Mode") == "navigate" and headers.get("Sec-Fetch-Dest") == "document"
        if headers.get("Sec-Fetch-Site", "none") not in ("none", "same-origin") and not opens_page:
            return HTTPStatus.FORBIDDEN
        return None if self.path.startswith("/") else HTTPStatus.BAD_REQUEST

    def do_GET(self) -> None:
        """Answer with a file of the site, a page, or the events."""
        bulletin = self.server.bulletin
        notice = bulletin.notice  # before the file: a page may be newer than its number, never older
        path = self.path.partition("?")[0]
        if path == EVENTS:
            with bulletin.reading():
                self._send_events()
        elif path == "/" and notice.builds:
            first = next(iter(notice.builds))
            self._send(HTTPStatus.FOUND, _TYPES[".txt"], b"", Location=f"/{first}{'/' * bool(first)}proof/index.html")
        elif path == "/favicon.ico":  # browsers ask for one unasked
            self._send(HTTPStatus.NO_CONTENT, _BYTES, b"")
        else:
            self._send_file(notice)

    do_HEAD = do_GET  # noqa: N815 - likewise

    def _send_file(self, notice: Notice) -> None:
        folder = notice.site.folder_of(self.path)
        try:
            data = notice.site.read(self.path)
            instead = page_instead(notice, folder) if data is None else b""
        except BuildError as error:
            self._send(HTTPStatus.SERVICE_UNAVAILABLE, _TYPES[".txt"], f"{error}\n".encode())
            return
        kind = _TYPES.get(PurePosixPath(self.path.partition("?")[0]).suffix, _BYTES)
        if data is None:
            status = HTTPStatus.NOT_FOUND if notice.builds else HTTPStatus.SERVICE_UNAVAILABLE
            self._send(status, _TYPES[".html"], instead)
        else:
            self._send(HTTPStatus.OK, kind, served_page(data, notice, folder) if kind == _TYPES[".html"] else data)

    def _send_events(self) -> None:
        """Send each notice as a server-sent event (HTML standard, section 9.2), until either side ends."""
        self.close_connection = True
        self._begin(HTTPStatus.OK, "text/event-stream", Connection="close")
        if self.command == "HEAD":
            return
        bulletin, number = self.server.bulletin, -1
        self.wfile.write(b"retry: 1000\n\n")
        while not bulletin.ended:
            notice = bulletin.after(number, _HEARTBEAT)
            self.wfile.write(f"data: {notice.as_json}\n\n".encode() if notice else b":\n\n")
            number = notice.number if notice else number

    def _send(self, status: HTTPStatus, kind: str, body: bytes, **headers: str) -> None:
        more = {"Allow": "GET, HEAD"} if status is HTTPStatus.METHOD_NOT_ALLOWED else {}
        self._begin(status, kind, **{"Content-Length": str(len(body)), **more, **headers})
        if self.command != "HEAD":
            self.wfile.write(body)

    def _begin(self, status: HTTPStatus, kind: str, **headers: str) -> None:
        self.send_response(status)
        for name, value in {"Content-Type": kind, **_HEADERS, **headers}.items():
            self.send_header(name, value)
        if self.close_connection and "Connection" not in headers:
            self.send_header("Connection", "close")
        self.end_headers()

    def log_message(self, *_: Any) -> None:
        """Say nothing: what is printed is about builds."""


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
