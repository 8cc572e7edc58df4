"""Requests and answers of the server."""

from __future__ import annotations

import http.client
import json
import queue
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from ladderlight.serving.server import EVENTS, serving
from ladderlight.serving.site import Bulletin, Site

PAGE = """<!DOCTYPE html>
<html><head><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'">
</head>
<body>
<p>proof</p>
</body></html>
"""


class Client:
    """Sends requests to a server, each on a connection of its own."""

    def __init__(self, bulletin: Bulletin, address: str) -> None:
        self.bulletin, self.host = bulletin, urlsplit(address).netloc

    def ask(self, target: str, method: str = "GET", **headers: str) -> tuple[int, dict[str, str], bytes]:
        connection = http.client.HTTPConnection(self.host, timeout=10)
        connection.putrequest(method, target, skip_host="Host" in headers, skip_accept_encoding=True)
        for name, value in headers.items():
            connection.putheader(name.replace("_", "-"), value)
        connection.endheaders()
        answer = connection.getresponse()
        found = answer.status, dict(answer.getheaders()), answer.read()
        connection.close()
        return found

    def status(self, target: str, method: str = "GET", **headers: str) -> int:
        return self.ask(target, method, **headers)[0]


@pytest.fixture
def client(tmp_path: Path) -> Iterator[Client]:
    """A server of a folder that has been built once."""
    (tmp_path / "out" / "proof" / "screens").mkdir(parents=True)
    (tmp_path / "out" / "proof" / "index.html").write_text(PAGE, encoding="utf-8")
    (tmp_path / "out" / "proof" / "screens" / "bank0.png").write_bytes(b"\x89PNG")
    (tmp_path / "out" / "devices").mkdir()
    (tmp_path / "out" / "devices" / "picture.bin").write_bytes(b"<body>\0")
    bulletin = Bulletin()
    with serving(bulletin) as address:
        bulletin.post(built="", site=Site(folders={"": tmp_path / "out"}))
        yield Client(bulletin, address)


def test_it_listens_to_this_machine_alone_at_a_free_port(client: Client) -> None:
    host, port = client.host.split(":")
    assert host == "127.0.0.1"
    with serving(Bulletin()) as other:
        assert urlsplit(other).port not in (None, int(port))
    assert len(socket.getaddrinfo(host, port)) > 0


def test_files_come_with_their_types_and_are_never_kept(client: Client) -> None:
    kinds = {}
    for target in ("/proof/index.html", "/proof/screens/bank0.png", "/devices/picture.bin"):
        status, headers, body = client.ask(target)
        assert (status, headers["Cache-Control"], headers["X-Content-Type-Options"]) == (200, "no-store", "nosniff")
        assert int(headers["Content-Length"]) == len(body)
        kinds[target] = headers["Content-Type"]
        assert client.ask(target, "HEAD")[2] == b""
    assert list(kinds.values()) == ["text/html; charset=utf-8", "image/png", "application/octet-stream"]
    assert client.ask("/devices/picture.bin")[2] == b"<body>\0"
    assert client.ask("/")[:2][0] == 302
    assert client.ask("/")[1]["Location"] == "/proof/index.html"


def test_a_page_loads_nothing_from_elsewhere_and_nobody_frames_it(client: Client) -> None:
    _, headers, body = client.ask("/proof/index.html")
    policy = dict(part.split(" ", 1) for part in headers["Content-Security-Policy"].split("; "))
    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert policy["connect-src"] == "'self'"
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert b"Content-Security-Policy" not in body  # the page's own forbids what the served page needs
    assert body.index(b"charset") < body.index(b"<body>") < body.index(b'id="live"') < body.index(b"<p>proof</p>")


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 200),
        ({"Host": "localhost:{port}"}, 200),
        ({"Host": "merrowhithe.example"}, 403),
        ({"Host": "merrowhithe.example:{port}"}, 403),
        ({"Host": "127.0.0.1"}, 403),
        ({"Host": "127.0.0.1.merrowhithe.example:{port}"}, 403),
        ({"Host": ""}, 403),
        ({"Origin": "http://127.0.0.1:{port}"}, 200),
        ({"Origin": "http://merrowhithe.example"}, 403),
        ({"Origin": "http://127.0.0.1:1"}, 403),
        ({"Origin": "https://127.0.0.1:{port}"}, 403),
        ({"Origin": "null"}, 403),
        # What a page of another site has fetched, framed or loaded as a script or picture; a link may be followed.
        ({"Sec_Fetch_Site": "cross-site", "Sec_Fetch_Mode": "no-cors", "Sec_Fetch_Dest": "image"}, 403),
        ({"Sec_Fetch_Site": "same-site", "Sec_Fetch_Mode": "cors", "Sec_Fetch_Dest": "empty"}, 403),
        ({"Sec_Fetch_Site": "cross-site", "Sec_Fetch_Mode": "navigate", "Sec_Fetch_Dest": "iframe"}, 403),
        ({"Sec_Fetch_Site": "cross-site", "Sec_Fetch_Mode": "navigate", "Sec_Fetch_Dest": "document"}, 200),
        ({"Sec_Fetch_Site": "same-origin", "Sec_Fetch_Mode": "cors", "Sec_Fetch_Dest": "empty"}, 200),
    ],
)
def test_requests_of_other_sites_are_refused(client: Client, headers: dict[str, str], status: int) -> None:
    port = client.host.split(":")[1]
    given = {name: value.format(port=port) for name, value in headers.items()}
    for target in ("/proof/index.html", "/devices/picture.bin"):
        assert client.status(target, **given) == status
    if status == 403:
        assert client.status(EVENTS, **given) == 403


def test_it_only_reads(client: Client) -> None:
    for method in ("POST", "PUT", "DELETE", "OPTIONS", "PATCH", "TRACE", "CONNECT", "PROPFIND"):
        status, headers, _ = client.ask("/proof/index.html", method)
        assert (status, headers["Allow"]) == (405, "GET, HEAD")


@pytest.mark.parametrize("target", ["http://127.0.0.1/proof/index.html", "/../secret.txt", "/%2e%2e/secret.txt"])
def test_raw_requests_for_what_is_elsewhere_are_refused(client: Client, target: str, tmp_path: Path) -> None:
    (tmp_path / "secret.txt").write_text("secret")
    host, port = client.host.split(":")
    with socket.create_connection((host, int(port)), timeout=10) as connection:
        connection.sendall(f"GET {target} HTTP/1.1\r\nHost: {client.host}\r\nConnection: close\r\n\r\n".encode())
        answer = b"".join(iter(lambda: connection.recv(65536), b""))
    assert answer.split()[1] in (b"400", b"404")
    assert b"secret" not in answer


def test_requests_without_a_host_or_with_two_are_refused(client: Client) -> None:
    host, port = client.host.split(":")
    for hosts in ("", f"Host: {client.host}\r\nHost: {client.host}\r\n"):
        with socket.create_connection((host, int(port)), timeout=10) as connection:
            connection.sendall(f"GET /proof/index.html HTTP/1.1\r\n{hosts}\r\n".encode())
            assert b" 403 " in connection.recv(65536).splitlines()[0]


def test_errors_are_escaped_on_the_page_and_all_who_listen_hear_of_them(client: Client) -> None:
    line = "recipe.toml:3:1: <img src=x onerror=alert(1)> & so on"
    heard: list[queue.Queue[object]] = [queue.Queue(), queue.Queue()]

    def listen(notices: queue.Queue[object]) -> None:
        connection = http.client.HTTPConnection(client.host, timeout=10)
        connection.request("GET", EVENTS)
        answer = connection.getresponse()
        assert answer.headers["Content-Type"] == "text/event-stream"
        for text in answer:
            if text.startswith(b"data: "):
                notices.put(json.loads(text[6:]))

    listeners = [threading.Thread(target=listen, args=(notices,)) for notices in heard]
    for listener in listeners:
        listener.start()
    assert [each.get(timeout=10) for each in heard] == [{"builds": {"": 1}, "errors": []}] * 2
    client.bulletin.post(errors=(line,))
    assert [each.get(timeout=10) for each in heard] == [{"builds": {"": 1}, "errors": [line]}] * 2
    page = client.ask("/proof/index.html")[2].decode()
    assert "&lt;img src=x onerror=alert(1)&gt; &amp; so on" in page
    assert "<img src=x" not in page
    client.bulletin.post(built="", errors=())
    assert [each.get(timeout=10) for each in heard] == [{"builds": {"": 2}, "errors": []}] * 2
    client.bulletin.end()
    for listener in listeners:
        listener.join(10)
        assert not listener.is_alive()


def test_a_deleted_output_folder_is_reported_until_it_is_there_again(client: Client, tmp_path: Path) -> None:
    (tmp_path / "out").rename(tmp_path / "elsewhere")
    status, _, page = client.ask("/proof/index.html")
    assert status == 404
    assert b"<h1>No proof yet</h1>" in page
    assert b" data-gone " in page, "the page looks for the proof by itself"
    assert b"href=" not in page, "no link that leads to the same page"
    (tmp_path / "elsewhere").rename(tmp_path / "out")
    assert client.status("/proof/index.html") == 200
    page = client.ask("/proof/other.html")[2]
    assert b"<h1>No such page</h1>" in page
    assert b" data-gone " not in page


def test_before_the_first_build_a_page_says_what_is_wrong(tmp_path: Path) -> None:
    bulletin = Bulletin()
    with serving(bulletin) as address:
        client = Client(bulletin, address)
        assert b"Nothing built yet" in client.ask("/")[2]
        bulletin.post(errors=("recipe.toml:1:1: what is this",))
        status, _, page = client.ask("/proof/index.html")
        assert status == 503
        assert b"recipe.toml:1:1: what is this" in page
