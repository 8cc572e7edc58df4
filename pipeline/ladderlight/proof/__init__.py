"""The proof: a page that shows what the monitor will show, from the device files themselves."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from ladderlight.board import Board, Finding
from ladderlight.proof.page import burn_page, page
from ladderlight.proof.screens import screen_png, shown_banks
from ladderlight.screen import Words

__all__ = ["burn_page", "proof_files"]


def proof_files(
    project: str, board: Board, words: Words, manifest: Mapping[str, Any], findings: Sequence[Finding]
) -> Iterator[tuple[str, bytes]]:
    """Yield the files of the proof by their paths below ``proof/``: the screens, then ``index.html``.

    Parameters
    ----------
    project
        The project's name.
    board
        The board.
    words
        The memories' words as read back from the device files.
    manifest
        The build's manifest.
    findings
        What ``check`` has to say.
    """
    banks = shown_banks(board, manifest)
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        screens = pool.map(lambda bank: screen_png(board, words, bank), banks)
        yield from zip((f"screens/bank{bank}.png" for bank in banks), screens, strict=True)
    yield "index.html", page(project, board, manifest, findings, banks).encode("utf-8")
