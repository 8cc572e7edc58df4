"""The files of the proof."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from ladderlight.board import Board, Finding
from ladderlight.board.scanning.playback import play
from ladderlight.board.scanning.timing import MUCH_UNDEFINED, undefined_share
from ladderlight.colour.viewing import Viewing
from ladderlight.devices.documents import ManifestDocument
from ladderlight.flow.images import coded_png
from ladderlight.flow.pictures import SourceView, TileSet
from ladderlight.proof.changes import FILE as CHANGES
from ladderlight.proof.changes import Before, changes_document, device_changes
from ladderlight.proof.page.document import Links, page
from ladderlight.proof.scanout import Scanned
from ladderlight.proof.screens import Screen, data_url, to_png
from ladderlight.proof.tilesheet import PER_ROW, tile_sheet
from ladderlight.storage.stopping import side_by_side
from ladderlight.system.printable import json_text
from ladderlight.units.arrays import MemoryWords
from ladderlight.units.words import percent

_NOTHING = Before()
_STILL_BYTES = 24_000  # of the screens that readers without scripts see; the first is shown in any case
_MANY = 8  # screens from which on that is the only one
_WIDTH, _HEIGHT, _SCALE = 80, 20, 10
_MARK = (255, 0, 255)  # of the part of a screen that is enlarged, in counts and lines, and where data are undefined


def proof_files(
    project: str,
    scanned: Scanned,
    manifest: ManifestDocument,
    findings: Sequence[Finding],
    *,
    before: Before = _NOTHING,
    bench: Markup | None = None,
    views: Mapping[str, SourceView] | None = None,
    viewing: Viewing | None = None,
    links: Links | None = None,
    tray: int | None = None,
) -> Iterator[tuple[str, bytes]]:
    """Yield the files of the proof by their paths below ``proof/``: each different screen, then ``index.html``.

    ``findings`` are what ``check`` has to say, and ``before`` is what there was before this build, to say what it
    changes. ``views`` are the pictures before the reduction, by name; cards have none. ``bench`` has the tables of the
    bench sheet, for their place in the page, and ``links`` other proof pages, by their kind. A page of a ``tray`` lies
    one folder deeper. A screen has the number of the first bank that shows it.
    """
    board = scanned.board
    screens = side_by_side(lambda bank: Screen(scanned=scanned, bank=bank), scanned.distinct)
    yield from ((f"screens/bank{screen.bank}.png", screen.png) for screen in screens)
    shown = {bank: screens[content] for bank, content in scanned.contents.items()}
    changes = changes_document(board, scanned.images, manifest, shown, before.build)
    yield CHANGES, json_text(changes).encode()
    sheets = [_described(board, tiles, places) for tiles, places in zip(scanned.tile_sets, scanned.places, strict=True)]
    bank = scanned.banks[0]
    disturbed = disturbance(board, scanned.words, bank)
    waiting = disturbed and {
        "bank": bank,
        "share": percent(disturbed[0]).replace(" ", "\N{NO-BREAK SPACE}"),
        "marked": disturbed[0] >= MUCH_UNDEFINED,
        "enlarged": data_url(to_png(disturbed[1])),
    }
    document = page(
        project,
        scanned,
        manifest,
        changes,
        list(device_changes(board, scanned.images, manifest, before.chips)),
        findings,
        views=views or {},
        viewing=viewing or Viewing(),
        tray=tray,
        stills=list(_stills(scanned, manifest)),
        tile_sets=sheets,
        disturbed=waiting,
        bench=bench,
        links=links or {},
    )
    yield "index.html", document.encode()


def _stills(scanned: Scanned, manifest: ManifestDocument) -> Iterator[dict[str, object]]:
    """Yield the first screens as pictures within the page, as many as it can bear."""
    left, first = _STILL_BYTES, scanned.distinct[0]
    for bank in scanned.distinct if len(scanned.distinct) <= _MANY else [first]:
        picture = coded_png(scanned.codes[bank], scanned.board)
        left -= len(picture)
        if bank != first and left < 0:
            return
        names = ", ".join(picture["name"] for picture in manifest["pictures"] if picture["bank"] == bank)
        yield {"source": data_url(picture), "alt": f"Screen of bank {bank}" + (f": {names}" if names else "")}


def _described(board: Board, tiles: TileSet, places: NDArray[np.int64]) -> dict[str, object]:
    count, height, width = map(int, tiles.codes.shape)
    return {
        "sheet": data_url(to_png(tile_sheet(board, tiles))),
        "memory": tiles.memory,
        "tiles": count,
        "width": width,
        "height": height,
        "first": int(tiles.numbers.min()) if count else 0,
        "last": int(tiles.numbers.max()) if count else 0,
        "uses": int(places.sum()),
        "once": int((places == 1).sum()),
        "per_row": PER_ROW,
    }


def disturbance(board: Board, words: MemoryWords, bank: int) -> tuple[float, NDArray[np.uint8]] | None:
    """Enlarge the middle of a bank's screen tenfold, striped where the memories' data are not there yet.

    Returns the share of the picture's time in which data are undefined, 0 to 1, and the pixels, sRGB. None when nothing
    of the picture is undefined, or no access time is known.
    """
    if all(memory.access is None for memory in board.memories):
        return None
    share = undefined_share(board)
    top = max(0, (board.raster.y.visible - _HEIGHT) // 2)
    middle, whole = slice(top, top + _HEIGHT), slice(None)
    shown = play(board, words, bank, middle if share else whole)
    if not (share or shown.undefined.any()):
        return None
    left = max(0, (shown.codes.shape[1] - _WIDTH) // 2)
    part = np.s_[whole if share else middle, left : left + _WIDTH]
    pixels = board.palette.srgb8[shown.codes[part]].repeat(_SCALE, axis=0).repeat(_SCALE, axis=1)
    unsure = shown.undefined[part].repeat(_SCALE, axis=0).repeat(_SCALE, axis=1)
    rows, columns = np.ogrid[: unsure.shape[0], : unsure.shape[1]]
    pixels[unsure & ((rows + columns) // 3 % 2 == 0)] = _MARK
    return float(shown.undefined.mean()) if share is None else share, pixels
