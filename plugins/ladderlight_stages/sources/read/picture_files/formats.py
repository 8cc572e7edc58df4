"""Formats of picture files, identified by their first bytes."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from ladderlight import PictureError
from ladderlight.units.words import joined

HEAD = 4096
"""Bytes at the start of a file that identify its format."""


@dataclass(frozen=True, kw_only=True)
class Format:
    """A supported format. ``plugin`` is the module of Pillow, or of another package, that decodes it."""

    name: str
    identity: str
    """Its name in Pillow."""
    plugin: str
    is_one: Callable[[bytes, str], object]
    """Whether a file is of the format, from its first bytes and the suffix of its name, in small letters."""
    feature: str = ""
    """The feature of Pillow that decodes it."""
    canvases: int = 1
    """Whole pictures of 4 bytes a pixel that its decoder holds at once, as measured."""


def _starts(*magic: bytes) -> Callable[[bytes, str], bool]:
    return lambda head, _: head.startswith(magic)


def _brands(head: bytes) -> set[bytes]:
    """Return the brands of an ISO base media file (ISO/IEC 14496-12, section 4.3); none for another file."""
    if head[4:8] != b"ftyp":
        return set()
    box = head[8 : min(int.from_bytes(head[:4], "big"), HEAD)]
    return {box[:4], *(box[at : at + 4] for at in range(8, len(box) - 3, 4))}


def _is_heif(head: bytes) -> bool:
    return bool(_brands(head) & {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"})


FORMATS = (
    Format(name="PNG", identity="PNG", plugin="PIL.PngImagePlugin", is_one=_starts(b"\x89PNG\r\n\x1a\n")),
    Format(name="JPEG", identity="JPEG", plugin="PIL.JpegImagePlugin", is_one=_starts(b"\xff\xd8\xff")),
    Format(name="GIF", identity="GIF", plugin="PIL.GifImagePlugin", is_one=_starts(b"GIF87a", b"GIF89a"), canvases=4),
    Format(
        name="WebP",
        identity="WEBP",
        plugin="PIL.WebPImagePlugin",
        is_one=lambda head, _: head[:4] == b"RIFF" and head[8:12] == b"WEBP",
        feature="webp",
        canvases=5,
    ),
    Format(
        name="TIFF",
        identity="TIFF",
        plugin="PIL.TiffImagePlugin",  # TIFF 6.0, section 2, and BigTIFF
        is_one=_starts(b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"),
        feature="libtiff",
    ),
    Format(name="BMP", identity="BMP", plugin="PIL.BmpImagePlugin", is_one=_starts(b"BM")),
    Format(
        name="PPM",
        identity="PPM",
        plugin="PIL.PpmImagePlugin",
        is_one=lambda head, _: re.match(rb"P[1-6fF][\s#]", head),
    ),
    Format(
        name="AVIF",
        identity="AVIF",
        plugin="PIL.AvifImagePlugin",
        is_one=lambda head, _: _brands(head) & {b"avif", b"avis"},
        feature="avif",
        canvases=4,
    ),
    Format(
        name="JPEG 2000",
        identity="JPEG2000",
        plugin="PIL.Jpeg2KImagePlugin",
        is_one=_starts(b"\xff\x4f\xff\x51", b"\0\0\0\x0cjP  \r\n\x87\n"),
        feature="jpg_2000",
        canvases=5,
    ),
    Format(name="PSD", identity="PSD", plugin="PIL.PsdImagePlugin", is_one=_starts(b"8BPS")),
    Format(name="ICO", identity="ICO", plugin="PIL.IcoImagePlugin", is_one=_starts(b"\0\0\1\0"), canvases=4),
    Format(name="QOI", identity="QOI", plugin="PIL.QoiImagePlugin", is_one=_starts(b"qoif"), canvases=2),
    Format(
        name="PCX",
        identity="PCX",
        plugin="PIL.PcxImagePlugin",
        is_one=lambda head, _: re.match(rb"\x0a[\0\2\3\5][\0\1][\1\2\4\x08]", head, re.DOTALL),
    ),
    Format(
        name="XBM",
        identity="XBM",
        plugin="PIL.XbmImagePlugin",
        is_one=lambda head, _: re.match(rb"\s*(/\*.*?\*/\s*)?#define\s+\S*width\s+\d", head, re.DOTALL),
    ),
    Format(
        name="TGA",
        identity="TGA",
        plugin="PIL.TgaImagePlugin",  # has no signature
        is_one=lambda _, suffix: suffix in (".tga", ".icb", ".vda", ".vst"),
    ),
    Format(
        name="HEIC",
        identity="HEIF",
        plugin="pi_heif.HeifImagePlugin",
        is_one=lambda head, _: _is_heif(head),
        canvases=4,
    ),
)
IN_WORDS = joined([one.name for one in FORMATS], "or")

_STILL = "save it as PNG"
_RAW = "develop it to TIFF or PNG first"
_VIDEO = "save its frames as PNG files, or as an animation"
_FOREIGN: tuple[tuple[Callable[[bytes, str], object], str, str], ...] = (
    (lambda head, _: not head, "empty", "copy it again"),
    (_starts(b"%PDF"), "a PDF", "save its page as PNG"),
    (_starts(b"%!PS", b"\xc5\xd0\xd3\xc6"), "PostScript", "save its page as PNG"),
    (lambda head, _: re.match(rb"\s*<(\?xml|!--|!DOCTYPE svg|svg).*", head) and b"<svg" in head, "an SVG", _STILL),
    (lambda head, _: re.match(rb"\s*<(!doctype html|html|head|body)", head.lower()), "a web page", "save the picture"),
    (_starts(b"FUJIFILMCCD-RAW", b"IIRO", b"IIRS", b"MMOR", b"IIU\0", b"FOVb", b"\0MRM"), "a camera's raw file", _RAW),
    (lambda head, _: b"crx " in _brands(head), "a camera's raw file", _RAW),
    (lambda head, _: bool(_brands(head)), "a video", _VIDEO),
    (lambda head, _: head[:4] == b"RIFF" and head[8:12] == b"AVI ", "a video", _VIDEO),
    (_starts(b"\x1a\x45\xdf\xa3", b"\0\0\1\xba", b"\0\0\1\xb3", b"FLV\1", b"OggS"), "a video", _VIDEO),
    (_starts(b"v/1\1"), "an OpenEXR picture", "save it as a TIFF of floats"),
    (_starts(b"#?RADIANCE", b"#?RGBE"), "a Radiance picture", "save it as a TIFF of floats"),
    (_starts(b"\xff\x0a", b"\0\0\0\x0cJXL "), "JPEG XL", _STILL),
    (_starts(b"gimp xcf"), "a GIMP drawing", _STILL),
    (_starts(b"DDS "), "a DDS texture", _STILL),
    (_starts(b"SIMPLE  ="), "FITS", "save it as TIFF"),
    (_starts(b"\xd7\xcd\xc6\x9a"), "a Windows metafile", _STILL),
    (lambda head, _: head[40:44] == b" EMF", "a Windows metafile", _STILL),
    (_starts(b"P7\n"), "PAM", "save it as PPM or PNG"),
    (_starts(b"PK\3\4", b"\x1f\x8b", b"7z\xbc\xaf", b"Rar!"), "an archive", "unpack it"),
)


def format_of(head: bytes, path: Path) -> Format:
    """Return the format of a file, from its first bytes.

    Raises PictureError when it is not supported, with the name of the format that was found, if it is known.
    """
    suffix = path.suffix.lower()
    for one in FORMATS:
        if head and one.is_one(head, suffix):
            return one
    for is_one, name, action in _FOREIGN:
        if is_one(head, suffix):
            raise PictureError(f"{name}, not a picture that can be read; {action}")
    raise PictureError(f"not a picture that can be read; use {IN_WORDS}")
