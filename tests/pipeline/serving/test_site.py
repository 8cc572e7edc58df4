"""Which files a request may have."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from ladderlight.serving.site import Site, names_of


@pytest.fixture
def output(tmp_path: Path) -> Path:
    """An output folder, and beside it a file that is none of anyone's business."""
    (tmp_path / "out" / "proof").mkdir(parents=True)
    (tmp_path / "out" / ".ladderlight").mkdir()
    (tmp_path / "out" / ".ladderlight" / "record.json").write_text("{}")
    (tmp_path / "out" / "proof" / "index.html").write_text("proof")
    (tmp_path / "out" / "proof" / "Kais Uhr.txt").write_text("clock")
    (tmp_path / "secret.txt").write_text("secret")
    (tmp_path / "out-other").mkdir()
    (tmp_path / "out-other" / "secret.txt").write_text("secret")
    return tmp_path / "out"


def test_files_of_the_folder_are_read(output: Path) -> None:
    site = Site(folders={"": output})
    assert site.read("/proof/index.html") == b"proof"
    assert site.read("/proof/index.html?bank=1") == b"proof"
    assert site.read("/proof/Kais%20Uhr.txt") == b"clock"
    assert site.read("/proof/%69ndex.html") == b"proof"
    assert [site.read(target) for target in ("/", "/proof", "/proof/", "/proof/other.html")] == [None] * 4


@pytest.mark.parametrize(
    "target",
    [
        "/../secret.txt",
        "/proof/../../secret.txt",
        "/%2e%2e/secret.txt",
        "/.%2E/secret.txt",
        "/..%2fsecret.txt",
        "/..%5csecret.txt",
        "/..\\secret.txt",
        "/proof/..%2f..%2fsecret.txt",
        "/%252e%252e/secret.txt",
        "/../out-other/secret.txt",
        "/./proof/index.html",
        "//proof/index.html",
        "/proof//index.html",
        "/proof%2findex.html",
        "/proof/index.html%00.png",
        "/proof/index.html/.",
        "/proof/index.html.",
        "/proof/index.html%20",
        "/proof/index.html::$DATA",
        "/C:/secret.txt",
        "/c%3a%5csecret.txt",
        "/CON",
        "/proof/nul.txt",
        "/proof/COM1.html",
        "/proof/lpt%C2%B9",
        "/.ladderlight/record.json",
        "/%2eladderlight/record.json",
        "/proof/%ff",
        "/proof/\xe4",
        "http://127.0.0.1/proof/index.html",
        "proof/index.html",
        "",
        "*",
    ],
)
def test_nothing_else_is(output: Path, target: str) -> None:
    """Among them the ways out that RFC 3986, section 7.3, and Microsoft's "Naming Files" warn of."""
    assert Site(folders={"": output}).read(target) is None


def test_absolute_paths_lead_nowhere(output: Path, tmp_path: Path) -> None:
    site = Site(folders={"": output})
    assert site.read(f"/{tmp_path}/secret.txt") is None
    assert site.read("/%2f" + str(tmp_path / "secret.txt").replace("/", "%2f")) is None


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_links_are_followed_within_the_folder_and_not_out_of_it(output: Path, tmp_path: Path) -> None:
    (output / "out.txt").symlink_to(tmp_path / "secret.txt")
    (output / "other").symlink_to(tmp_path / "out-other")
    (output / "hidden.json").symlink_to(output / ".ladderlight" / "record.json")
    (output / "loop.txt").symlink_to(output / "loop.txt")
    (output / "first.html").symlink_to(output / "proof" / "index.html")
    os.mkfifo(output / "pipe.txt")  # reading it would wait for ever
    site = Site(folders={"": output})
    for target in ("/out.txt", "/other/secret.txt", "/hidden.json", "/loop.txt", "/pipe.txt"):
        assert site.read(target) is None
    assert site.read("/first.html") == b"proof"


def test_revisions_have_their_folders_and_what_lies_beside_those_is_not_served(output: Path, tmp_path: Path) -> None:
    site = Site(folders={"a": output, "b": tmp_path / "out-other"})
    assert site.read("/a/proof/index.html") == b"proof"
    assert site.read("/b/secret.txt") == b"secret"
    assert [site.read(target) for target in ("/proof/index.html", "/a", "/secret.txt", "/c/secret.txt")] == [None] * 4
    assert (site.folder_of("/b/secret.txt"), site.folder_of("/c/secret.txt")) == ("b", "")


def test_names_are_decoded_once() -> None:
    assert names_of("/proof/%2541.txt") == ("proof", "%41.txt")
