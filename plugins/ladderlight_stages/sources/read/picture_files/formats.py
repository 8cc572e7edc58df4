"""Formats of picture files, identified by their first bytes."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from ladderlight import PictureError
from ladderlight.units.words import joined

HEAD = 4096
"""Bytes at the start of a file that identify its format."""


@dataclass(frozen=True)
class Format:
    """A supported format."""

    name: str
    identity: str
    """Its name in Pillow."""
    plugin: str
    """The module of Pillow, or of another package, that decodes it."""
    is_one: Callable[[bytes, str], object]
    """Whether a file is of the format, from its first bytes and the suffix of its name, in small letters."""
    feature: str = ""
    """The feature of Pillow that decodes it."""
    canvases: int = 1
    """Whole pictures of 4 bytes a pixel that its decoder holds at once, as measured."""


def _starts(*magic: bytes) -> Callable[[bytes, str], bool]:
    return lambda head, _: head.startswith(magic)


def _like(pattern: bytes) -> Callable[[bytes, str], object]:
    return lambda head, _: re.match(pattern, head, re.DOTALL)


def _branded(*brands: bytes) -> Callable[[bytes, str], object]:
    return lambda head, _: _brands(head).intersection(brands)


def _brands(head: bytes) -> set[bytes]:
    """Return the brands of an ISO base media file (ISO/IEC 14496-12, section 4.3); none for another file."""
    if head[4:8] != b"ftyp":
        return set()
    box = head[8 : min(int.from_bytes(head[:4], "big"), HEAD)]
    return {box[:4], *(box[at : at + 4] for at in range(8, len(box) - 3, 4))}


_TIFF = _starts(b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")  # TIFF 6.0, section 2, and BigTIFF
_JPEG_2000 = _starts(b"\xff\x4f\xff\x51", b"\0\0\0\x0cjP  \r\n\x87\n")
_HEIF = _branded(b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
_XBM = _like(rb"\s*(/\*.*?\*/\s*)?#define\s+\S*width\s+\d")
FORMATS = (
    Format("PNG", "PNG", "PIL.PngImagePlugin", _starts(b"\x89PNG\r\n\x1a\n")),
    Format("JPEG", "JPEG", "PIL.JpegImagePlugin", _starts(b"\xff\xd8\xff")),
    Format("GIF", "GIF", "PIL.GifImagePlugin", _starts(b"GIF87a", b"GIF89a"), canvases=4),
    Format("WebP", "WEBP", "PIL.WebPImagePlugin", _like(rb"RIFF.{4}WEBP"), feature="webp", canvases=5),
    Format("TIFF", "TIFF", "PIL.TiffImagePlugin", _TIFF, feature="libtiff"),
    Format("BMP", "BMP", "PIL.BmpImagePlugin", _starts(b"BM")),
    Format("PPM", "PPM", "PIL.PpmImagePlugin", _like(rb"P[1-6fF][\s#]")),
    Format("AVIF", "AVIF", "PIL.AvifImagePlugin", _branded(b"avif", b"avis"), feature="avif", canvases=4),
    Format("JPEG 2000", "JPEG2000", "PIL.Jpeg2KImagePlugin", _JPEG_2000, feature="jpg_2000", canvases=5),
    Format("PSD", "PSD", "PIL.PsdImagePlugin", _starts(b"8BPS")),
    Format("ICO", "ICO", "PIL.IcoImagePlugin", _starts(b"\0\0\1\0"), canvases=4),
    Format("QOI", "QOI", "PIL.QoiImagePlugin", _starts(b"qoif"), canvases=2),
    Format("PCX", "PCX", "PIL.PcxImagePlugin", _like(rb"\x0a[\0\2\3\5][\0\1][\1\2\4\x08]")),
    Format("XBM", "XBM", "PIL.XbmImagePlugin", _XBM),
    # Without a signature.
    Format("TGA", "TGA", "PIL.TgaImagePlugin", lambda _, suffix: suffix in (".tga", ".icb", ".vda", ".vst")),
    Format("HEIC", "HEIF", "pi_heif.HeifImagePlugin", _HEIF, canvases=4),
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
    (_like(rb"(?i)\s*<(!doctype html|html|head|body)"), "a web page", "save the picture"),
    (_starts(b"FUJIFILMCCD-RAW", b"IIRO", b"IIRS", b"MMOR", b"IIU\0", b"FOVb", b"\0MRM"), "a camera's raw file", _RAW),
    (_branded(b"crx "), "a camera's raw file", _RAW),
    (lambda head, _: bool(_brands(head)), "a video", _VIDEO),
    (_like(rb"RIFF.{4}AVI "), "a video", _VIDEO),
    (_starts(b"\x1a\x45\xdf\xa3", b"\0\0\1\xba", b"\0\0\1\xb3", b"FLV\1", b"OggS"), "a video", _VIDEO),
    (_starts(b"v/1\1"), "an OpenEXR picture", "save it as a TIFF of floats"),
    (_starts(b"#?RADIANCE", b"#?RGBE"), "a Radiance picture", "save it as a TIFF of floats"),
    (_starts(b"\xff\x0a", b"\0\0\0\x0cJXL "), "JPEG XL", _STILL),
    (_starts(b"gimp xcf"), "a GIMP drawing", _STILL),
    (_starts(b"DDS "), "a DDS texture", _STILL),
    (_starts(b"SIMPLE  ="), "FITS", "save it as TIFF"),
    (_starts(b"\xd7\xcd\xc6\x9a"), "a Windows metafile", _STILL),
    (_like(rb".{40} EMF"), "a Windows metafile", _STILL),
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
