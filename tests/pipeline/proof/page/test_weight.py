"""The weight of the page with photographs, diffused as by default, and what it unpacks to show the first screen."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
from PIL import Image

from ladderlight import CodedPicture, Contents, MemoryContents, Origin, Picture, PlacedPicture
from ladderlight.board import MODES, Board, Channel, Counters, Ladder, Part, Placement, Raster, linear_from_srgb
from ladderlight.flow.images import source_view
from ladderlight.testing import run_stage
from ladderlight_stages.reductions.diffuse.stage import diffuse

PHOTOGRAPHS = Path(__file__).parents[4] / "recipes" / "lobby" / "pictures"
SIZE = (160, 120)
COUNT = """
globalThis.unpackedAtFirst = null;
let unpacked = 0;
const { DecompressionStream: Native } = globalThis;
globalThis.DecompressionStream = class extends Native {
  constructor(format) {
    super(format);
    unpacked += 1;
  }
};
addEventListener("DOMContentLoaded", () => new MutationObserver(() => (unpackedAtFirst ??= unpacked)).observe(
  document.getElementById("caption-title"), { childList: true }));
"""


def board_of(memory, banks: int, *, fine: int = 0) -> Board:
    """The lobby's board with so many banks, and its drivers in its resistors; ``fine=1`` has twice its resolution."""
    weights = {"red": (3330, 1630, 780), "green": (3330, 1630, 780), "blue": (1330, 710)}
    channels = (
        Channel(name=name, resistors={f"{name[0]}{bit}": float(ohms) for bit, ohms in enumerate(each)}, guns=(gun,))
        for gun, (name, each) in enumerate(weights.items())
    )
    words = memory(
        address=[f"x{2 - fine}-x9", f"y{2 - fine}-y8", f"bank0-bank{banks.bit_length() - 2}"],
        data=["b0-b1", "g0-g2", "r0-r2"],
        part=Part(number="own", words=banks << 15 + 2 * fine, width=8),
        output="register",
    )
    return Board(
        raster=Raster(mode=MODES["640x480@60"], clock=Fraction(25_175_000)),
        memories=(words,),
        ladder=Ladder(supply=5.0, channels=tuple(channels)),
        counters=Counters(blanking_delay=4),
    )


def photographs(count: int, size: tuple[int, int] = SIZE) -> list[Picture]:
    """Different parts of the lobby's photographs, some of them mirrored."""
    rng = np.random.default_rng(4)
    files = [Image.open(PHOTOGRAPHS / name).convert("RGB") for name in ("cafe.jpg", "quay-cat.jpg", "night-sky.jpg")]
    found = []
    for number in range(count):
        file = files[number % len(files)]
        share = rng.uniform(0.45, 1)
        width = int(share * min(file.width, file.height * 4 / 3))
        left, top = (int(rng.integers(0, room + 1)) for room in (file.width - width, file.height - width * 3 // 4))
        part = file.resize(size, Image.Resampling.LANCZOS, (left, top, left + width, top + width * 3 // 4))
        part = part.transpose(Image.Transpose.FLIP_LEFT_RIGHT) if rng.random() < 0.5 else part
        pixels = linear_from_srgb(np.asarray(part) / 255).astype(np.float32)
        found.append(Picture(origin=Origin(name=f"p{number}", source=f"pictures/p{number}.jpg"), pixels=pixels))
    return found


def contents_of(board: Board, banks: dict[int, CodedPicture]) -> Contents:
    placement = Placement(board=board)
    for bank, coded in banks.items():
        placement.put_codes(coded.codes, bank=bank, picture=coded.origin.name)
    memories = {n: MemoryContents(words=words, written=mask) for n, (words, mask) in placement.words().items()}
    placed = tuple(PlacedPicture(origin=coded.origin, bank=bank) for bank, coded in banks.items())
    return Contents(memories=memories, pictures=placed)


def coded_of(board: Board, pictures: list[Picture]) -> list[CodedPicture]:
    return [run_stage(diffuse, picture, board) for picture in pictures]


def test_64_photographs_in_64_and_in_256_banks(memory, page_text, opened) -> None:
    pictures = photographs(64)
    views = {picture.origin.name: source_view(picture) for picture in pictures}
    coded = coded_of(board_of(memory, 64), pictures)
    for banks, most in ((64, 900_000), (256, 1_500_000)):
        board = board_of(memory, banks)
        contents = contents_of(board, {bank: coded[bank * 64 // banks] for bank in range(banks)})
        text = page_text(board, contents, views=views)
        assert len(text.encode()) <= most, banks
        page = opened(text, script=COUNT)
        assert page.evaluate("unpackedAtFirst") <= 4, banks  # the page that is read, and where words are read


def test_64_photographs_of_four_times_as_many_pixels(memory, page_text) -> None:
    """The page may weigh what its pixels do: a little over four times as much."""
    board = board_of(memory, 64, fine=1)
    pictures = photographs(64, (320, 240))
    contents = contents_of(board, dict(enumerate(coded_of(board, pictures))))
    text = page_text(board, contents, views={picture.origin.name: source_view(picture) for picture in pictures})
    assert len(text.encode()) <= 4.2 * 889_000


def test_201_frames_in_512_banks(memory, page_text) -> None:
    """A ball rolls over a photograph; what does not move keeps its codes."""
    board = board_of(memory, 512)
    (still,) = photographs(1)
    (ground,) = coded_of(board, [still])
    ball, *_ = coded_of(board, photographs(2)[1:])
    rows, columns = np.indices(ground.codes.shape)
    frames, views = [], {}
    for number in range(201):
        inside = (rows - 60 - 30 * np.sin(number / 9)) ** 2 + (columns - 0.8 * number) ** 2 < 30**2
        codes = np.where(inside, np.roll(ball.codes, number, axis=1), ground.codes)
        origin = Origin(name=f"p0#{number}", source="pictures/p0.gif", frame=number, duration=0.1)
        frames.append(CodedPicture(origin=origin, codes=codes))
        views[origin.name] = source_view(
            still.with_pixels(np.where(inside[..., None], still.pixels[::-1], still.pixels))
        )
    contents = contents_of(board, {bank: frames[bank * 201 // 512] for bank in range(512)})
    assert len(page_text(board, contents, views=views).encode()) <= 1_200_000
