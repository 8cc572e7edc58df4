"""Proof pages opened in Chromium."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from ladderlight.bench.sheets.document import bench_of
from ladderlight.bench.sheets.files import bench_parts
from ladderlight.proof.files import proof_files
from ladderlight.proof.scanout import Scanned, memories_of
from ladderlight.workspace.description import describe
from ladderlight_stages.emissions.binary import binary


@pytest.fixture
def page_text() -> Callable[..., str]:
    """The proof page of some contents, whose banks with pictures are shown."""

    def make(board: Any, contents: Any, **more: Any) -> str:
        files = binary(contents, board)
        banks = sorted({placed.bank for placed in contents.pictures}) or [0]
        scanned = Scanned(board=board, words=memories_of(board, files), banks=banks)
        made = describe(project="p", board=board, contents=contents, files=files, images=scanned.images)
        parts = bench_parts(bench_of(board, []))
        return dict(proof_files("Merrowhithe", scanned, made, [], bench=parts, **more))["index.html"].decode()

    return make


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Iterator[Callable[..., Any]]:
    """Open a page's text from a file, its screen drawn; afterwards it must have said nothing on the console."""
    contexts = []
    said: list[str] = []

    def open_page(text: str, address: str = "", script: str = "", **options: Any) -> Any:
        file = tmp_path / "index.html"
        file.write_text(text, encoding="utf-8")
        context = browser.new_context(**({"viewport": {"width": 1200, "height": 900}} | options))
        contexts.append(context)
        context.add_init_script(script)
        found = context.new_page()
        found.on("console", lambda message: said.append(message.text))
        found.on("pageerror", lambda error: said.append(str(error)))
        found.goto(file.as_uri() + address)
        found.locator("#caption-title:not(:empty)").wait_for()
        return found

    yield open_page
    for context in contexts:
        context.close()
    assert said == []
