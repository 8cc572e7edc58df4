"""Small files that claim to be huge, read in a process of their own that may not take the machine down."""

from __future__ import annotations

import io
import json
import struct
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image, features

from ladderlight import Demand, PictureError
from ladderlight_stages.sources.read.picture_files.limits import FrameSize, refuse_frames, refuse_held, refuse_size
from ladderlight_stages.sources.read.stage import read

MIB = 1 << 20
USUAL = 24_000_000 * (4 + 12) // MIB
"""What one picture of 24 megapixels takes: 4 bytes a pixel decoded, 12 in linear light."""
NOTHING = zlib.compress(bytes(16_000_000), 9)

CHILD = """
import json, resource, sys
from pathlib import Path
resource.setrlimit(resource.RLIMIT_AS, (6 << 30, 6 << 30))
from PIL import Image
from ladderlight import Demand, PictureError
from ladderlight_stages.sources.read.stage import probe, read

def peak():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10

small = Demand(width=160, height=120)
warm = Path(sys.argv[1]) / "warm.png"
Image.new("RGB", (640, 480)).save(warm)
list(read(warm, small))
before, found = peak(), {}
for name in sys.argv[3:]:
    path = Path(sys.argv[1]) / name
    try:
        found[name] = sum(picture.pixels.size for picture in read(path, small if sys.argv[2] == "small" else Demand()))
    except PictureError as error:
        found[name] = str(error)
    try:
        probe(path, {"frames": "all", "every": 1, "page": None, "profile": "use"})
    except PictureError as error:
        found[name + " probed"] = str(error)
print(json.dumps([peak() - before, found]))
"""


def read_apart(folder: Path, *names: str, demand: str = "small") -> tuple[int, dict[str, str | int]]:
    """Read files in another process; return by how many MiB its memory grew, and what became of each."""
    command = [sys.executable, "-c", CHILD, str(folder), demand, *names]
    done = subprocess.run(command, check=True, capture_output=True, text=True, timeout=300)
    return tuple(json.loads(done.stdout))


def chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png(width: int, height: int, *more: bytes) -> bytes:
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    parts = [chunk(b"IHDR", header), *more, chunk(b"IDAT", zlib.compress(bytes(5000))), chunk(b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


def gif(width: int, height: int, *frames: tuple[int, int]) -> bytes:
    parts = [b"," + struct.pack("<HHHHB", 0, 0, *size, 0) + b"\x02\x02\x44\x01\x00" for size in frames]
    return b"GIF89a" + struct.pack("<HHBBB", width, height, 0x80, 0, 0) + bytes(6) + b"".join(parts) + b";"


def webp(width: int, height: int) -> bytes:
    sides = (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    return b"RIFF\x1a\0\0\0WEBPVP8X\x0a\0\0\0" + bytes(4) + sides + bytes(4)


def tiff(width: int, height: int, pages: int = 1, **changed: tuple[int, int]) -> bytes:
    """Pages of grey, all of them one deflated strip. ``changed``: type and value of tags, named ``t277`` and so on."""
    tags = {256: (4, width), 257: (4, height), 258: (3, 8), 259: (3, 8), 262: (3, 1)}
    tags |= {273: (4, 0), 277: (3, 1), 278: (4, height), 279: (4, len(NOTHING))}
    tags |= {int(name[1:]): value for name, value in changed.items()}
    if 322 in tags:
        tags = {tag: value for tag, value in tags.items() if tag not in (273, 278, 279)}
    size = 2 + 12 * len(tags) + 4
    tags = {tag: (kind, value or 8 + size * pages) for tag, (kind, value) in tags.items()}
    entries = b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, (kind, value) in sorted(tags.items()))
    following = [8 + size * (page + 1) for page in range(pages - 1)] + [0]
    directories = [struct.pack("<H", len(tags)) + entries + struct.pack("<I", after) for after in following]
    return b"II*\0\x08\0\0\0" + b"".join(directories) + NOTHING


def wide_last_page(data: bytes) -> bytes:
    before, width, after = data.rpartition(struct.pack("<HHII", 256, 4, 1, 9))
    return before + width[:8] + struct.pack("<I", 10**9) + after


def bmp(width: int, height: int) -> bytes:
    header = struct.pack("<IiiHHIIiiII", 40, width, height, 1, 24, 0, 0, 0, 0, 0, 0)
    return b"BM" + struct.pack("<IHHI", 54, 0, 0, 54) + header + bytes(100)


def small(kind: str) -> bytearray:
    stream = io.BytesIO()
    Image.new("RGB", (16, 16)).save(stream, kind)
    return bytearray(stream.getvalue())


def jpeg(width: int, height: int) -> bytes:
    data = small("JPEG")
    frame = data.index(b"\xff\xc0")
    data[frame + 5 : frame + 9] = struct.pack(">HH", height, width)
    return bytes(data)


def jpeg_2000(width: int, height: int) -> bytes:
    """The codestream is of another size than the header around it, and far behind it."""
    data = small("JPEG2000")
    start = data.index(b"\xff\x4f\xff\x51")
    data[start + 8 : start + 16] = data[start + 24 : start + 32] = struct.pack(">II", width, height)
    box = struct.pack(">I", 9000) + b"uuid" + bytes(8992)
    return bytes(data[: start - 8]) + box + bytes(data[start - 8 :])


def avif(width: int, height: int) -> bytes:
    data = small("AVIF")
    start = data.index(b"ispe")
    data[start + 8 : start + 16] = struct.pack(">II", width, height)
    return bytes(data)


ATTACKS: dict[str, tuple[Callable[[], bytes], str]] = {
    "tiny.webp": (lambda: webp(16383, 16383), "16383x16383 pixels are more than 92 million; scale it down first"),
    "second.gif": (
        lambda: gif(1, 1, (1, 1), (65535, 65535)),
        "65535x65535 pixels are more than 109 million; scale it down first",
    ),
    "many.gif": (
        lambda: gif(8000, 8000, *[(1, 1)] * 600),
        "600 frames of 8000x8000 pixels are 38,400 million pixels, more than 2,500 million a file; scale it down "
        "first, or take one with page",
    ),
    "huge.png": (lambda: png(60000, 60000), "60000x60000 pixels are more than 250 million; scale it down first"),
    "profile.png": (
        lambda: png(9, 9, chunk(b"iCCP", b"a\0\0" + zlib.compress(bytes(300_000_000), 9))),
        "PNG: broken or cut short; save or copy it again",
    ),
    "text.png": (
        lambda: png(9, 9, *[chunk(b"zTXt", b"a\0\0" + zlib.compress(bytes(60_000_000), 9))] * 8),
        "PNG: broken or cut short; save or copy it again",
    ),
    "frames.png": (
        lambda: png(1, 1, chunk(b"acTL", struct.pack(">II", 2**31 - 1, 0))),
        "2,147,483,648 frames are more than 100,000 a file; split it",
    ),
    "junk.gif": (  # bytes between frames, which Pillow passes over
        lambda: gif(1, 1, (1, 1), (65535, 65535)).replace(b"\x44\x01\x00,", b"\x44\x01\x00\0\0,"),
        "65535x65535 pixels are more than 109 million; scale it down first",
    ),
    "loop.gif": (  # an extension that Pillow reads one block too far
        lambda: gif(1, 1, (65535, 65535)).replace(bytes(6) + b",", bytes(6) + b"!\xff\x0bNETSCAPE2.0\0\1!\0,"),
        "65535x65535 pixels are more than 109 million; scale it down first",
    ),
    "huge.tif": (lambda: tiff(60000, 60000), "60000x60000 pixels are more than 250 million; scale it down first"),
    "tile.tif": (
        lambda: tiff(10, 10, t322=(4, 60000), t323=(4, 60000), t324=(4, 0), t325=(4, len(NOTHING))),
        "60000x60000 pixels are more than 250 million; scale it down first",
    ),
    "channels.tif": (
        lambda: tiff(4000, 4000, t277=(3, 65535)),
        "its pixels of 65,535 bytes are more than 64; save it as RGB",
    ),
    "pages.tif": (
        lambda: tiff(4000, 4000, 1000),
        "1,000 frames of 4000x4000 pixels are 16,000 million pixels, more than 2,500 million a file; scale it down "
        "first, or take one with page",
    ),
    "second.tif": (
        lambda: wide_last_page(tiff(9, 9, 2)),
        "1000000000x9 pixels are more than 250 million; scale it down first",
    ),
    "absurd.bmp": (
        lambda: bmp(2**31 - 1, 2**31 - 1),
        "2147483647x2147483647 pixels are more than 250 million; scale it down first",
    ),
    "huge.jpg": (lambda: jpeg(65500, 65500), "65500x65500 pixels are more than 250 million; scale it down first"),
    "huge.psd": (
        lambda: b"8BPS\0\1" + bytes(6) + struct.pack(">HIIHH", 3, 300000, 300000, 8, 3) + bytes(99),
        "300000x300000 pixels are more than 250 million; scale it down first",
    ),
    "huge.ico": (
        lambda: b"\0\0\1\0\1\0" + struct.pack("<BBBBHHII", 16, 16, 0, 0, 1, 32, 99, 22) + png(60000, 60000),
        "60000x60000 pixels are more than 109 million; scale it down first",
    ),
    "huge.jp2": (lambda: jpeg_2000(60000, 60000), "60000x60000 pixels are more than 92 million; scale it down first"),
    "huge.avif": (lambda: avif(60000, 60000), "AVIF: broken or cut short; save or copy it again"),  # libavif's limit
    "huge.tga": (
        lambda: struct.pack("<BBBHHBHHHHBB", 0, 0, 10, 0, 0, 0, 0, 0, 65535, 65535, 24, 0) + bytes(40),
        "65535x65535 pixels are more than 250 million; scale it down first",
    ),
    "huge.pcx": (
        lambda: struct.pack("<4B6H48xBBHH60x", 10, 5, 1, 8, 0, 0, 65534, 65534, 72, 72, 0, 3, 65535, 1),
        "65535x65535 pixels are more than 250 million; scale it down first",
    ),
    "huge.qoi": (
        lambda: b"qoif" + struct.pack(">IIBB", 2**31, 2**31, 4, 0) + bytes(20),
        "2147483648x2147483648 pixels are more than 194 million; scale it down first",
    ),
    "huge.xbm": (
        lambda: b"#define a_width 99999\n#define a_height 99999\nstatic char a_bits[] = {\n0x00};",
        "99999x99999 pixels are more than 250 million; scale it down first",
    ),
    "plain.pgm": (
        lambda: b"P2 99999 99999 65535\n1 2 3",
        "99999x99999 pixels are more than 250 million; scale it down first",
    ),
    "huge.pfm": (
        lambda: b"PF 99999 99999 -1\n" + bytes(99),
        "99999x99999 pixels are more than 137 million; scale it down first",
    ),
    "lie.ppm": (lambda: b"P3 9000 9000 1023\n1 2 3 ", "PPM: broken or cut short; save or copy it again"),
}
NEEDED = {"huge.jp2": "jpg_2000", "huge.avif": "avif", "tiny.webp": "webp"}


@pytest.mark.skipif(sys.platform != "linux", reason="memory is measured as Linux counts it")
def test_small_files_that_claim_much_are_refused_in_little_memory(tmp_path):
    names = [name for name in ATTACKS if name not in NEEDED or NEEDED[name] in features.get_supported()]
    for name in names:
        (tmp_path / name).write_bytes(ATTACKS[name][0]())
        assert (tmp_path / name).stat().st_size < MIB
    grown, found = read_apart(tmp_path, *names)
    assert {name: found[name] for name in names} == {name: ATTACKS[name][1] for name in names}
    unseen = {name for name in names if found.get(f"{name} probed") != found[name]}
    assert unseen == {"lie.ppm"}  # what is wrong is not in the header
    assert grown < 192  # the profile and the texts of the PNGs, up to Pillow's limit of 64 MiB each


@pytest.mark.skipif(sys.platform != "linux", reason="memory is measured as Linux counts it")
def test_frames_are_reduced_one_after_another(tmp_path):
    """In full size, 20 frames of 1600x1200 pixels are 439 MiB in linear light."""
    frames = [Image.new("L", (1600, 1200), number * 12) for number in range(20)]
    frames[0].save(tmp_path / "tide.gif", save_all=True, append_images=frames[1:], duration=40)
    grown, found = read_apart(tmp_path, "tide.gif")
    assert found == {"tide.gif": 20 * 320 * 240 * 3}
    assert grown < 120


@pytest.mark.skipif(sys.platform != "linux", reason="memory is measured as Linux counts it")
@pytest.mark.parametrize(
    ("side", "demand", "left"), [(6_000, "small", 375 * 375 * 3), (3_000, "full", 3000 * 3000 * 3)]
)
def test_a_large_picture_keeps_to_the_bound(tmp_path, side, demand, left):
    Image.new("RGB", (side, side), "teal").save(tmp_path / "large.png", compress_level=1)
    grown, found = read_apart(tmp_path, "large.png", demand=demand)
    assert found == {"large.png": left}
    assert grown < 1024 + USUAL
    assert grown < 1.15 * side * side * (4 + (12 if demand == "full" else 0)) / MIB + 40  # no second copy of the whole


def test_the_limits_are_one_gibibyte_above_a_picture_of_24_megapixels():
    depth = 16
    most = ((1 << 30) + 24_000_000 * (depth + 12)) // depth
    refuse_size(most, 1, depth=depth)
    with pytest.raises(PictureError, match=rf"^{most + 1}x1 pixels are more than 109 million; scale it down first$"):
        refuse_size(most + 1, 1, depth=depth)
    refuse_frames([FrameSize(number=number, width=5000, height=5000) for number in range(100)])
    with pytest.raises(PictureError, match=r"^101 frames of 5000x5000 pixels are 2,525 million pixels, more than 2"):
        refuse_frames([FrameSize(number=number, width=5000, height=5000) for number in range(101)])


def test_frames_that_are_handed_on_in_full_size_have_a_limit():
    frames = [FrameSize(number=number, width=1000, height=1000) for number in range(130)]
    refuse_held(frames[:120], 120_000_000)
    with pytest.raises(PictureError) as caught:
        refuse_held(frames, 130_000_000)
    assert str(caught.value) == (
        "130 frames of 1000x1000 pixels are 130 million pixels for the next stages, more than 121 million; put resize "
        "into the chain or scale it down first, or take fewer with every"
    )
    with pytest.raises(PictureError) as caught:
        refuse_held([FrameSize(number=0, width=12000, height=10000)], 120_000_000)
    assert str(caught.value) == (
        "12000x10000 pixels are 120 million pixels for the next stages, more than 81 million; put resize into the "
        "chain or scale it down first"
    )


def test_frames_that_are_taken_one_by_one_need_not_fit_together(tmp_path):
    (tmp_path / "long.gif").write_bytes(gif(1000, 1000, *[(1, 1)] * 150))
    assert sum(frame.pixels.shape == (1000, 1000, 3) for frame in read(tmp_path / "long.gif", Demand())) == 150


def test_a_lack_of_memory_is_one_line(tmp_path, read_one, samples, monkeypatch):
    Image.fromarray(samples).save(tmp_path / "quay.png")

    def full(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr("PIL.ImageFile.ImageFile.load_prepare", full)
    with pytest.raises(PictureError, match=r"^needs more memory than the computer has; scale it down first$"):
        read_one(tmp_path / "quay.png")
