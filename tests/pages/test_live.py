"""The served proof in Chromium, while its recipe is broken and put right."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

LANTERN = Path(__file__).parents[1] / "recipes" / "lantern"
WAIT = 60.0  # seconds that a build may take on a busy machine; a pass is much faster
STAY = 1.5  # seconds in which a build would have begun

pytestmark = pytest.mark.skipif(os.name == "nt", reason="interrupts are sent otherwise on Windows")


class Watch:
    """A running watch of a recipe that writes what it prints into the recipe's folder."""

    def __init__(self, folder: Path) -> None:
        self.recipe, self.log = folder / "recipe.toml", folder / "watch.log"
        with self.log.open("w") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "ladderlight", "watch", "--page", str(self.recipe)],
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
            )
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().strip()

    @property
    def rounds(self) -> int:
        return self.log.read_text(encoding="utf-8").count("watching")

    def end(self) -> int:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        status = self.process.wait(timeout=WAIT)
        if self.process.stdout is not None:
            self.process.stdout.close()
        return status


@pytest.fixture
def watch(tmp_path: Path, signals_heard: None) -> Iterator[Watch]:
    """Watch a copy of a small recipe, which is broken at first."""
    folder = tmp_path / "lantern"
    shutil.copytree(LANTERN, folder, ignore=shutil.ignore_patterns("out", "__pycache__"))
    recipe = folder / "recipe.toml"
    recipe.write_text(recipe.read_text().replace("reach = 0.6", "reach = 6"))
    found = Watch(folder)
    yield found
    found.end()


def seconds(amount: float) -> float:
    """In milliseconds, as the browser's driver has them."""
    return amount * 1000


def test_two_browsers_follow_a_recipe_that_is_broken_and_put_right(watch: Watch, browser: Browser) -> None:
    contexts = [browser.new_context(viewport={"width": 900, "height": 600}) for _ in range(2)]
    pages = [context.new_page() for context in contexts]
    said: list[str] = []
    for page in pages:
        page.on("pageerror", lambda error: said.append(str(error)))
        page.goto(watch.address)
        page.get_by_text("recipe.toml:37:9:").wait_for(timeout=seconds(WAIT))
        assert "Nothing built yet" in page.inner_text("h1")

    text = watch.recipe.read_text()
    watch.recipe.write_text(text.replace("reach = 6", "reach = 0.6"))
    for page in pages:
        page.wait_for_url("**/proof/index.html*", timeout=seconds(WAIT))
        page.get_by_role("heading", name="Merrowhithe lantern room").wait_for()
        assert not page.locator("#live").is_visible()

    # What the watch itself writes beside the recipe starts no build, and neither does what the pages read.
    rounds = watch.rounds
    time.sleep(STAY)
    assert watch.rounds == rounds == 2

    first, second = pages
    first.locator("#strip [role=radio]").nth(1).click()
    first.locator("input[name=look][value=side]").check()
    first.wait_for_timeout(500)  # the screen takes its size when it is drawn, and the page moves with it
    first.evaluate("() => scrollTo(0, document.getElementById('strip').getBoundingClientRect().top + scrollY + 20)")
    place = "document.getElementById('strip').getBoundingClientRect().top"
    assert first.evaluate(place) == pytest.approx(-20, abs=1)
    watch.recipe.write_text(text.replace("reach = 6", 'reach = "<b onclick=1>far</b>"'))
    for page in pages:
        line = page.locator("#live li").first
        line.wait_for(timeout=seconds(WAIT))
        assert "recipe.toml:37:9:" in line.inner_text()
        assert page.locator("#live b[onclick]").count() == 0
        assert page.get_by_role("heading", name="Merrowhithe lantern room").is_visible()
    assert first.evaluate(place) == pytest.approx(-20, abs=1)

    with first.expect_event("load", timeout=seconds(WAIT)):
        name = "Merrowhithe lantern room" + ", seen from the mole and from the quay" * 3  # a title of more lines
        watch.recipe.write_text(text.replace("reach = 6", "reach = 0.3").replace("Merrowhithe lantern room", name))
    for page in pages:
        page.locator("#live").wait_for(state="hidden", timeout=seconds(WAIT))
    assert first.url.endswith("#bank=1")
    assert first.locator("input[name=look]:checked").get_attribute("value") == "side"
    first.locator("#pixel-path > li").first.wait_for(state="attached")  # after the screen has been drawn
    first.wait_for_timeout(300)
    assert first.evaluate("document.querySelector('h1').offsetHeight") > 60
    assert first.evaluate(place) == pytest.approx(-20, abs=2)
    assert not second.locator("#live").is_visible()

    output, elsewhere = watch.recipe.parent / "out", watch.recipe.parent / "elsewhere"
    output.rename(elsewhere)
    second.reload()
    assert second.inner_text("h1") == "No proof yet"
    with second.expect_event("load", timeout=seconds(WAIT)):
        elsewhere.rename(output)
    second.get_by_role("heading", name="Merrowhithe lantern room").wait_for()

    check_other_sites(watch, browser, first)
    assert watch.end() == 0
    for page in pages:
        page.get_by_text("Not connected.").wait_for(timeout=seconds(WAIT))
        assert page.get_by_role("heading", name="Merrowhithe lantern room").is_visible()
    assert said == []
    for context in contexts:
        context.close()


def check_other_sites(watch: Watch, browser: Browser, own: Page) -> None:
    """Check that pages of other sites, and names of others for this machine, get nothing."""
    port = watch.address.rstrip("/").rpartition(":")[2]
    context = browser.new_context()
    page = context.new_page()
    answer = page.goto(f"http://merrowhithe.example:{port}/proof/index.html")
    assert answer is not None
    assert answer.status == 403
    context.route(
        "http://elsewhere.example/", lambda route: route.fulfill(body="<p>elsewhere</p>", content_type="text/html")
    )
    page.goto("http://elsewhere.example/")
    tried = """async (address) => {
        const image = new Image();
        const loaded = new Promise((end) => { image.onload = () => end(true); image.onerror = () => end(false); });
        image.src = `${address}proof/screens/bank0.png`;
        const source = new EventSource(`${address}.events`);
        const heard = new Promise((end) => { source.onmessage = () => end(true); source.onerror = () => end(false); });
        const fetched = await fetch(`${address}manifest.json`).then(() => true, () => false);
        return [await loaded, await heard, fetched];
    }"""
    assert page.evaluate(tried, watch.address) == [False, False, False]
    assert own.evaluate("async (address) => (await fetch(`${address}manifest.json`)).status", watch.address) == 200
    context.close()
