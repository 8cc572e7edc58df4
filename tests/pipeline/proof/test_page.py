import io
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from PIL import Image

from ladderlight import TileSet
from ladderlight.board import Finding
from ladderlight.proof.burnsheet import burn_page, burn_part
from ladderlight.proof.files import proof_files
from ladderlight.proof.scanout import Scanned, memories_of, render
from ladderlight.workspace.description import describe
from ladderlight_stages.emissions.binary import binary

VOID = {"meta", "img", "link", "br", "hr", "input"}


class Page(HTMLParser):
    """Collects text, attributes and links, and checks that tags are closed in order."""

    def __init__(self, text):
        super().__init__()
        self.words, self.images, self.links, self.stack = [], [], [], []
        self.feed(text)
        assert self.stack == []

    def handle_starttag(self, tag, attrs):
        attributes = dict(attrs)
        if tag not in VOID:
            self.stack.append(tag)
        if tag == "img":
            self.images.append(attributes)
        self.links += [attributes[name] for name in ("href", "src") if name in attributes]

    def handle_startendtag(self, tag, attrs):
        pass

    def handle_endtag(self, tag):
        assert self.stack.pop() == tag

    def handle_data(self, data):
        if self.stack[-1:] not in (["style"], ["script"]):
            self.words += data.split()

    @property
    def text(self):
        return " ".join(self.words)


def proof_of(board, contents, *, project="p", banks=(0,), findings=(), tile_sets=(), details=None):
    """The proof's files, the manifest, and the words they are of."""
    files = binary(contents, board)
    scanned = Scanned(board=board, words=memories_of(board, files), banks=banks, tile_sets=tile_sets)
    document = describe(
        project=project, board=board, contents=contents, files=files, images=scanned.images, details=details
    )
    return dict(proof_files(project, scanned, document, findings)), document, scanned.words


@pytest.fixture
def proof(board, banked):
    """The proof of two banks."""

    def make(project="Merrowhithe", **more):
        return proof_of(board, banked(board, (0, 3)), project=project, banks=[0, 3], **more)

    return make


def test_a_screen_for_each_bank_with_a_picture_and_a_page(board, proof):
    files, _, words = proof()
    assert list(files) == ["screens/bank0.png", "screens/bank3.png", "changes.json", "index.html"]
    shown = np.asarray(Image.open(io.BytesIO(files["screens/bank3.png"])).convert("RGB"))
    assert (shown == render(board, words, 3)).all()


def test_the_page_shows_screens_devices_palette_findings_and_cautions(board, proof):
    files, document, _ = proof(findings=[Finding(level="caution", where="clock", message="it drifts; trim it")])
    page = Page(files["index.html"].decode())
    assert [image["alt"] for image in page.images] == ["Screen of bank 0: picture-0"]  # noise: as much as a page bears
    device = document["devices"][0]
    for words in (
        "160 × 120",
        "640x480@60",
        "25.175 MHz",
        "each pixel 4 counts by 4 lines",
        device["crc32"],
        device["sum16"],
        "picture 27C010",
        "caution clock it drifts; trim it",
        "r1 r0 g1 g0 b1 b0",
        "lethal voltages",
        "no record of this chip",
    ):
        assert words in page.text
    assert page.text.count("#") == 64
    assert f"3F 111111 0.694 0.694 0.694 {board.palette.hex_of(63)}" in page.text


def test_a_screen_says_what_was_measured_of_its_picture(proof):
    metrics = {
        "colour_error": {"mean": 0.861, "p95": 2.1, "in_words": "not seen"},
        "grain": {"mean": 4.114, "p95": 9.5, "in_words": "fine"},
        "colours_used": 1,
        "clipped_share": 0.0029,
    }
    files, _, _ = proof(details={"picture-0": {"metrics": metrics}, "picture-3": {"metrics": {"clipped_share": 0.0}}})
    text = Page(files["index.html"].decode()).text
    assert text.count("grain 4.1") == 1
    measured = "colour error 0.9, 95 % up to 2.1 (not seen), grain 4.1, 95 % up to 9.5 (fine), 1 colour, 0.3 % clipped"
    assert f"{measured} bank 3" in text
    assert "Grain: how much of the dots the eye still sees. Less is better." in text


def test_nothing_is_loaded_from_elsewhere(proof):
    files, document, _ = proof()
    text = files["index.html"].decode()
    links = [link[:22] for link in Page(text).links]
    assert links == ["data:image/png;base64,", "#bank=0", "#bank=3"]
    assert document["devices"][0]["file"] in Page(text).text
    assert "http" not in text.replace('xmlns="http://www.w3.org/2000/svg"', "").replace("http-equiv", "")  # names alone
    assert "url(" not in text
    assert "default-src 'none'" in text


def test_equal_screens_are_one_file(board, banked):
    contents = banked(board, (0, 1, 2))
    words = contents.memories["picture"].words
    words[0x8000:0x10000] = words[:0x8000]
    counts = {f"picture-{bank}": {"metrics": {"colours_used": count}} for bank, count in enumerate((7, 7, 8))}
    files, _, _ = proof_of(board, contents, banks=(0, 1, 2), details=counts)
    assert list(files) == ["screens/bank0.png", "screens/bank2.png", "changes.json", "index.html"]
    assert "7 colours bank 2" in Page(files["index.html"].decode()).text
    counts["picture-1"]["metrics"] = {"colours_used": 9}
    files, _, _ = proof_of(board, contents, banks=(0, 1, 2), details=counts)
    assert "picture-0: 7 colours; picture-1: 9 colours" in Page(files["index.html"].decode()).text


def test_names_cannot_break_the_page(proof):
    files, _, _ = proof(project='<b>Lobby</b> & "quay"')
    text = files["index.html"].decode()
    assert "&lt;b&gt;Lobby&lt;/b&gt; &amp; &#34;quay&#34;" in text
    assert "<b>Lobby" not in text
    assert "Lobby" in Page(text).text


def test_two_proofs_are_the_same_bytes(proof):
    assert proof()[0] == proof()[0]


def test_a_palette_too_large_to_list_is_said_so(make_board, memory, ladder, banked):
    channels = {gun: {f"{gun[0]}{bit}": 500.0 * 2**bit for bit in range(4)} for gun in ("red", "green", "blue")}
    lines = ["b0-b3", "g0-g3", "r0-r3"]
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=lines, part="27C1024"), ladder=ladder(**channels))
    page = Page(proof_of(board, banked(board, (0,)))[0]["index.html"].decode())
    assert "No table of 4,096 codes" in page.text


def test_tile_sets_notes_and_waiting_are_shown(make_board, memory, banked):
    lines = ["b0-b1", "g0-g1", "r0-r1"]
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=lines, part="27C256", access=110e-9))
    contents = replace(banked(board, (0,)), notes=("17 unique tiles; 3 are shown as others",))
    at = np.array([[0], [1], [0x7FFF]])  # two pixels of the first row, and a word that nothing reads
    tiles = TileSet(memory="picture", codes=np.zeros((3, 8, 8), np.uint16), numbers=np.arange(4, 7), addresses=at)
    found, _, _ = proof_of(board, contents, tile_sets=[tiles])
    assert list(found) == [
        "screens/bank0.png",
        "changes.json",
        "index.html",
    ]
    page = Page(found["index.html"].decode())
    for words_ in (
        "17 unique tiles; 3 are shown as others",
        "picture 3 tiles of 8 × 8 pixels, numbered 4 to 6, 32 in a row shown at 2 places; "
        "2 of the tiles at one place only",
        "69 % of the visible picture",
        "Screens as the monitor will show them while the memories' data are valid",
        "Data are undefined for 69 % of the time; the monitor may show anything then.",
    ):
        assert words_ in page.text
    assert [image["alt"] for image in page.images] == [
        "Screen of bank 0: picture-0",
        "The middle of the screen enlarged, undefined moments striped",
        "The 3 tiles of memory picture",
    ]


def first_page(board, contents):
    """The proof of some contents: the names of its files, and the page."""
    found, _, _ = proof_of(board, contents)
    return list(found), Page(found["index.html"].decode()).text


def test_the_headline_says_what_is_known_of_undefined_data(make_board, memory, banked):
    def made(**more):
        board = make_board(memory(address=["x2-x9", "y2-y8"], data=["b0-b1", "g0-g1", "r0-r1"], part="27C256", **more))
        return first_page(board, banked(board, (0,)))

    names, text = made(access=15e-9)
    assert "Data are undefined for 9 % of the time" in text
    assert names == ["screens/bank0.png", "changes.json", "index.html"]
    names, text = made()
    assert "No access time is given for picture; data are undefined that long after each word change." in text
    assert names == ["screens/bank0.png", "changes.json", "index.html"]
    names, text = made(access=110e-9, output="register")
    assert "Screens as the monitor will show them, computed from the device files. Screen" in text
    assert names == ["screens/bank0.png", "changes.json", "index.html"]


def test_the_burn_sheet_as_a_page(board, proof):
    _, document, _ = proof(project="Lobby <1>")
    page = Page(burn_page(board, [burn_part(board, document)]))
    device = document["devices"][0]
    for words in (
        "Lobby <1>",
        "Burn 1 of 1: picture.",
        f"devices/picture.bin 131,072 0000h {device['crc32']} {device['sum8']} {device['sum16']} {device['sum32']}",
        f"{device['sum32']} SHA-256 {' '.join(re.findall('....', device['sha256']))} bank 0",
        "bank 3 18000h to 1F79Fh picture-3",
        "38,400 of 131,072 words in use, the last at 1F79Fh, 92,672 not in use",
        "erasure: ultraviolet light, the whole chip",
        "erasure: ultraviolet light, the whole chip",
        "12.5 V",
    ):
        assert words in page.text
    assert page.links == []
