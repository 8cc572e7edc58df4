"""The proof: a page that shows what the monitor will show, from the device files themselves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ladderlight.board import Board, Finding
from ladderlight.proof.page import burn_page, page
from ladderlight.proof.screens import shown_banks, to_png
from ladderlight.screen import Words, render

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
    for bank in banks:
        yield f"screens/bank{bank}.png", to_png(render(board, words, bank))
    yield "index.html", page(project, board, manifest, findings, banks).encode("utf-8")
