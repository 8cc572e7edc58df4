"""The screen on the proof page in Chromium: what it draws, and what moves it."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from ladderlight import Origin, PlacedPicture
from ladderlight.flow.pictures import SourceView
from ladderlight.proof.scanout import picture_codes

DRAWN = """(places) => {
  const screen = document.getElementById("screen");
  const context = new OffscreenCanvas(screen.width, screen.height).getContext("2d", { willReadFrequently: true });
  context.drawImage(screen, 0, 0);
  return places.map(([x, y]) => Array.from(context.getImageData(x, y, 1, 1).data));
}"""
SIZE = "(([canvas]) => [canvas.width, canvas.height, canvas.clientWidth])([document.getElementById('screen')])"
TITLE = "#caption-title"


@pytest.fixture
def codes(board, banked):
    """The codes of the random pictures, by bank."""
    words = {name: memory.words for name, memory in banked(board, (0, 3)).memories.items()}
    return {bank: picture_codes(board, words, bank) for bank in (0, 3)}


@pytest.fixture
def views():
    """A source of even colour for the first picture."""
    file = io.BytesIO()
    Image.new("RGB", (160, 120), (200, 40, 90)).save(file, format="JPEG", quality=95)
    return {"picture-0": SourceView(data=file.getvalue(), size=(800, 500), crop=(10, 20, 650, 500))}


def choose(page, **values):
    for value in values.values():
        page.locator(f"input[value={value}]").check()


def settled(page, condition):
    """Wait until a condition, an expression, holds: drawing goes on after input."""
    for _ in range(200):
        if page.evaluate(condition):
            return
        page.wait_for_timeout(25)
    raise AssertionError(f"never so: {condition}")


def test_screen_strip_and_path_of_a_pixel_fit_one_window(board, banked, page_text, opened, views):
    page = opened(page_text(board, banked(board, (0, 3)), views=views), viewport={"width": 1440, "height": 900})
    page.locator("#screen").click(position={"x": 30, "y": 30})
    settled(page, "!(document.getElementById('pixel-path').dataset.at ?? ' 80 60').endsWith(' 80 60')")
    ends = page.evaluate(
        "['strip', 'pixel-path'].map((id) => document.getElementById(id).getBoundingClientRect().bottom)"
    )
    assert page.evaluate("scrollY") == 0
    assert max(ends) <= 900
    assert page.evaluate(SIZE)[0] == 640  # four device pixels for each board pixel: as large as fits


@pytest.mark.parametrize("ratio", [1, 2, 1.25])
def test_each_board_pixel_is_a_whole_number_of_device_pixels(board, banked, codes, page_text, opened, ratio):
    page = opened(page_text(board, banked(board, (0, 3))), device_scale_factor=ratio)
    width, height, shown = page.evaluate(SIZE)
    scale = width // 160
    assert (width, height) == (160 * scale, 120 * scale)
    assert shown == pytest.approx(width / ratio, abs=1)
    places = [(0, 0), (159, 0), (7, 119), (80, 61)]
    corners = [(x * scale + dx, y * scale + dy) for x, y in places for dx in (0, scale - 1) for dy in (0, scale - 1)]
    expected = [[*board.palette.srgb8[codes[0][y, x]].tolist(), 255] for x, y in places for _ in range(4)]
    assert page.evaluate(DRAWN, corners) == expected


def test_source_and_board_side_by_side_split_and_as_difference(board, banked, codes, views, page_text, opened):
    page = opened(page_text(board, banked(board, (0, 3)), views=views), viewport={"width": 1400, "height": 500})
    source = np.array([200, 40, 90])
    shown = board.palette.srgb8[codes[0][61, 80]].astype(int)
    choose(page, look="side")
    settled(page, "document.getElementById('caption-more').textContent.includes('side by side')")
    width, height, _ = page.evaluate(SIZE)
    scale = height // 120
    gap = width - 320 * scale
    assert gap > 0
    beside = 160 * scale + gap
    left, right = page.evaluate(DRAWN, [(80.5 * scale, 61.5 * scale), (beside + 80.5 * scale, 61.5 * scale)])
    assert np.abs(left[:3] - source).max() <= 3
    assert right[:3] == shown.tolist()
    choose(page, look="difference")
    settled(page, "document.getElementById('caption-more').textContent.includes('grey where')")
    scale = page.evaluate(SIZE)[0] // 160
    (found,) = page.evaluate(DRAWN, [(80.5 * scale, 61.5 * scale)])
    assert np.abs(found[:3] - (128 + (shown - source) / 2)).max() <= 3
    choose(page, look="split")
    edge = page.locator("#edge")
    edge.focus()
    for _ in range(6):
        page.keyboard.press("PageDown")
    settled(page, "document.getElementById('edge').getAttribute('aria-valuenow') === '0'")
    page.keyboard.press("End")
    settled(page, "document.getElementById('edge').getAttribute('aria-valuenow') === '100'")
    page.wait_for_timeout(100)
    assert np.abs(page.evaluate(DRAWN, [(159.5 * scale, 61.5 * scale)])[0][:3] - source).max() <= 3
    box = page.locator("#screen").bounding_box()
    edge.hover()
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 4, box["y"] + 40)
    page.mouse.up()
    settled(page, "document.getElementById('edge').getAttribute('aria-valuenow') === '25'")
    assert page.locator("#crop figcaption").inner_text() == "Source 800 × 500, shown 640 × 480 from 10, 20"


def test_the_address_keeps_bank_and_pixel(board, banked, page_text, opened):
    page = opened(page_text(board, banked(board, (0, 3))), "#bank=3&x=5&y=7")
    assert page.locator(TITLE).text_content() == "bank 3: picture-3"
    settled(page, "document.getElementById('pixel-path').dataset.at === '3 5 7'")
    page.locator("#screen").focus()
    page.keyboard.press("ArrowRight")
    settled(page, "location.hash === '#bank=3&x=6&y=7'")
    page.goto(page.url.partition("#")[0] + "#bank=99&x=4000&y=1")
    page.reload()
    page.locator(f"{TITLE}:not(:empty)").wait_for()
    settled(page, "document.getElementById('pixel-path').dataset.at === '3 80 60'")


def test_another_address_in_the_same_tab_is_followed(board, banked, page_text, opened):
    """A link that is pasted there changes the fragment alone: "Fragment navigations" of the HTML standard."""
    page = opened(page_text(board, banked(board, (0, 3))), "#bank=3&x=5&y=7")
    page.evaluate("location.hash = '#x=2&y=3'")
    settled(page, "document.getElementById('pixel-path').dataset.at === '0 2 3'")
    page.evaluate("location.hash = '#bank=99&x=4000&y=1'")
    settled(page, "location.hash === '#bank=3' && document.getElementById('pixel-path').dataset.at === '3 80 60'")
    page.evaluate("location.hash = '#changes'")
    page.wait_for_timeout(400)
    assert page.locator(TITLE).text_content() == "bank 3: picture-3"
    assert not page.locator("#distance-means").is_visible()
    page.get_by_label("Distance").fill("2")
    assert "The stronger blur that the eye has for colour is left out" in page.locator("#distance-means").inner_text()


def test_banks_to_scale_equal_ones_joined_by_pointer_and_keys(board, banked, page_text, opened):
    contents = banked(board, (0, 1, 3))
    words = contents.memories["picture"].words
    words[0x8000:0x10000] = words[:0x8000]
    light = tuple(PlacedPicture(origin=Origin(name="light", source="light.gif"), bank=bank) for bank in (0, 1))
    page = opened(page_text(board, replace(contents, pictures=(*light, contents.pictures[2]))))
    runs = page.locator("#strip button")
    assert [run.get_attribute("aria-label") for run in runs.all()] == [
        "banks 0 to 1: light",
        "bank 2: no picture",
        "bank 3: picture-3",
    ]
    first, second, _ = (run.bounding_box()["width"] for run in runs.all())
    assert first == pytest.approx(2 * second, rel=0.02)
    runs.nth(0).focus()
    page.keyboard.press("ArrowRight")
    settled(page, "document.activeElement.getAttribute('aria-label') === 'bank 2: no picture'")
    settled(page, f"document.querySelector('{TITLE}').textContent === 'bank 2: no picture'")
    focused, left = focus_and_rest(page, "#strip [aria-checked=true]", "'::after').boxShadow")
    assert focused != left, "the chosen bank shows that it has the focus"
    runs.nth(2).click()
    settled(page, f"document.querySelector('{TITLE}').textContent === 'bank 3: picture-3'")
    assert [item.locator("p").inner_text() for item in page.locator("#contact li").all()] == [
        "banks 0 to 1 light light.gif",
        "bank 3 picture-3 pictures/picture-3.png",
    ]
    page.locator("#after").click()
    settled(page, f"document.querySelector('{TITLE}').textContent === 'banks 0 to 1: light'")
    focused, left = focus_and_rest(page, "#contact .chosen button", "null).outlineColor")
    assert focused != left


def focus_and_rest(page, selector, style):
    """A computed style of an element with the focus of the keyboard and without."""
    page.keyboard.press("Shift")  # what follows counts as done by the keyboard
    return page.evaluate(f"""() => {{
        const element = document.querySelector("{selector}");
        element.focus({{ focusVisible: true }});
        const focused = getComputedStyle(element, {style};
        element.blur();
        return [focused, getComputedStyle(element, {style}];
    }}""")


def test_an_animation_plays_once_or_round_at_the_boards_rate(board, banked, page_text, opened):
    contents = banked(board, (0, 1, 2, 3))
    steps = tuple(replace(placed, step=0.1) for placed in contents.pictures)
    page = opened(page_text(board, replace(contents, pictures=steps)))
    assert page.locator("#time").inner_text().startswith("0.00 of 0.40 s, 100.0 ms a bank")
    page.locator("[data-view=loop]").uncheck()
    page.locator("#play").click()
    settled(page, f"document.querySelector('{TITLE}').textContent === 'bank 3: picture-3'")
    settled(page, "document.getElementById('play').textContent === 'Play'")
    path = "document.getElementById('pixel-path').dataset.at"
    settled(page, f"{path} === '3 80 60'")
    page.locator("[data-view=loop]").check()
    page.locator("#play").click()
    settled(page, f"document.querySelector('{TITLE}').textContent === 'bank 1: picture-1'")
    assert page.evaluate(path) == "3 80 60", "as it was before it played"
    page.locator("#play").click()
    assert page.locator("#play").inner_text() == "Play"
    settled(page, f"{path}.slice(0, 1) === document.querySelector('{TITLE}').textContent.slice(5, 6)")


def test_nothing_moves_by_itself_where_less_motion_is_preferred(board, banked, views, page_text, opened):
    page = opened(page_text(board, banked(board, (0, 3)), views=views), reduced_motion="reduce")
    choose(page, look="flicker")
    assert page.locator("#flicker-run").inner_text() == "Run"
    page.wait_for_timeout(700)
    scale = page.evaluate(SIZE)[0] // 160
    seen = [page.evaluate(DRAWN, [(80 * scale, 60 * scale)])]
    page.locator("#flicker-swap").click()
    page.wait_for_timeout(300)
    seen.append(page.evaluate(DRAWN, [(80 * scale, 60 * scale)]))
    assert seen[0] != seen[1]
    assert np.abs(np.array(seen[1][0][:3]) - [200, 40, 90]).max() <= 3


def test_a_line_alone_is_light_where_it_is_high(board, banked, codes, page_text, opened):
    page = opened(page_text(board, banked(board, (0, 3))))
    page.locator("#part").select_option(label="D4, r0")
    scale = page.evaluate(SIZE)[0] // 160
    places = [(x, 3) for x in range(20)]
    levels = [int(codes[0][y, x]) >> 4 & 1 for x, y in places]
    page.wait_for_timeout(300)
    found = page.evaluate(DRAWN, [(x * scale + 1, y * scale + 1) for x, y in places])
    assert [pixel[0] for pixel in found] == [235 if level else 30 for level in levels]


def test_undefined_moments_are_marked_when_asked_for(make_board, memory, banked, page_text, opened):
    """110 ns are the first 2.8 of four monitor pixels that show a word, where the word changes."""
    lines = ["b0-b1", "g0-g1", "r0-r1"]
    board = make_board(memory(address=["x2-x9", "y2-y8"], data=lines, part="27C256", access=110e-9))
    contents = banked(board, (0,))
    codes = picture_codes(board, {name: each.words for name, each in contents.memories.items()})
    page = opened(page_text(board, contents), viewport={"width": 760, "height": 900})
    scale = page.evaluate(SIZE)[0] // 160
    assert scale == 4  # one device pixel for each monitor pixel
    row = [(x, 4 * 61 + 2) for x in range(640)]
    before = page.evaluate(DRAWN, row)
    assert [255, 0, 255, 255] not in before
    page.locator("[data-view=moments]").check()
    page.wait_for_timeout(500)
    marked = [pixel == [255, 0, 255, 255] for pixel in page.evaluate(DRAWN, row)]
    changes = codes[61, 1:] != codes[61, :-1]
    assert marked[4:] == [bool(change and at < 3) for change in changes for at in range(4)]


def test_the_first_screens_are_shown_where_the_words_cannot_be_unpacked(board, banked, page_text, browser, tmp_path):
    file = tmp_path / "index.html"
    file.write_text(page_text(board, banked(board, (0, 3))), encoding="utf-8")
    page = browser.new_page()
    page.add_init_script("delete globalThis.DecompressionStream")
    page.goto(file.as_uri())
    assert page.locator("#trouble").inner_text().startswith("This browser cannot unpack the words of the memories.")
    assert page.locator("img[alt='Screen of bank 0: picture-0']").count() == 1
    page.close()
