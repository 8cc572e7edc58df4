"""Opening of picture files, with every failure as one line."""

import errno
import logging
import stat
import struct
import warnings
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from ctypes import CDLL
from importlib import import_module
from pathlib import Path
from typing import BinaryIO

from PIL import Image, ImageFile, PngImagePlugin, UnidentifiedImageError, _imaging, features

from ladderlight import PictureError
from ladderlight_stages.sources.read.picture_files.formats import FORMATS, HEAD, Format, format_of
from ladderlight_stages.sources.read.picture_files.headers import camera_raw, refuse_stated

FAILURES = (
    OSError,
    SyntaxError,
    ValueError,
    EOFError,
    LookupError,
    TypeError,
    AttributeError,
    AssertionError,
    OverflowError,
    RuntimeError,
    struct.error,
    zlib.error,
    Warning,
)
"""Errors of libraries at a broken file."""
_TROUBLE = {
    errno.ENOENT: "no such file; check the name",
    errno.ENOTDIR: "no such file; check the name",
    errno.EACCES: "cannot be read; check its permissions",
    errno.EPERM: "cannot be read; check its permissions",
    errno.ELOOP: "a link that leads back to itself; replace it by the file",
    errno.ENAMETOOLONG: "its name is too long; shorten it",
    errno.EIO: "cannot be read from its disk; copy it again",
}

# Pillow's own guard against decompression bombs is a warning, which cannot be handled in one thread alone. So sizes
# are checked here and where frames are listed, before anything is decoded.
Image.MAX_IMAGE_PIXELS = None
# A PNG's history of editing may be longer than the megabyte that Pillow allows. All texts together stay limited.
PngImagePlugin.MAX_TEXT_CHUNK = PngImagePlugin.MAX_TEXT_MEMORY
# Pillow also warns of metadata that it cannot read. It does not affect the picture, and a user cannot change it.
warnings.filterwarnings("ignore", category=UserWarning, module=r"PIL\.")
logging.getLogger("PIL").addHandler(logging.NullHandler())


def _hush_tiff() -> None:
    """Silence libtiff's messages on stderr about damaged files (libtiff, TIFFSetErrorHandler(3)).

    Where Pillow shares the library, as on Linux and macOS, its functions are found through Pillow's module. Where it
    is linked in, as on Windows, they cannot be reached, and the lines remain.
    """
    try:
        library = CDLL(_imaging.__file__)
        library.TIFFSetErrorHandler(None)
        library.TIFFSetWarningHandler(None)
    except (OSError, AttributeError, TypeError):
        pass


_hush_tiff()


@contextmanager
def open_picture(path: Path, file: BinaryIO, head: bytes, *, complete: bool = False) -> Iterator[ImageFile.ImageFile]:
    """Open the picture in a file, as :func:`reading` yields it.

    With ``complete`` a JPEG that may be cut short gets an end, so that the decoder returns the part that is there.
    Raises PictureError when the file is of an unknown format, too large, broken, or proves broken while it is read. The
    message leaves out the file's name.
    """
    found = format_of(head, path)
    with named(found.name):
        _require(found)
        refuse_stated(found.identity, head, file, depth=4 * found.canvases)
        if found.identity == "TIFF" and (raw := camera_raw(file)):
            raise PictureError(f"{raw}, not a picture yet; develop it to TIFF or PNG first")
        file.seek(0)
        source = Ended(file) if complete and found.identity == "JPEG" else file
        with _image(source, found) as image:
            image.filename = str(path)
            yield image


def _image(source: "BinaryIO | Ended", found: Format) -> ImageFile.ImageFile:
    try:
        return Image.open(source, formats=[found.identity])  # type: ignore[arg-type]
    except UnidentifiedImageError:
        if found.identity == "TIFF":
            raise UnknownPageError("TIFF: of an unknown kind; save it as RGB") from None
        raise


@contextmanager
def reading(path: Path) -> Iterator[tuple[BinaryIO, bytes]]:
    """Open a file, not a folder or a pipe, and yield it with its first bytes.

    Raises PictureError when it cannot be read.
    """
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise PictureError("a folder or a device, not a picture file; check the name")
        file = path.open("rb")
    except ValueError:
        raise PictureError("a name that no file can have; check it") from None
    except OSError as error:
        raise PictureError(_TROUBLE.get(error.errno or 0, "cannot be opened; check the name")) from None
    with file:
        try:
            head = file.read(HEAD)
        except OSError as error:
            raise PictureError(_TROUBLE.get(error.errno or 0, "cannot be read; copy it again")) from None
        file.seek(0)
        yield file, head


@contextmanager
def named(name: str) -> Iterator[None]:
    """Turn a library's error about a broken file of a format into one line, a PictureError."""
    try:
        yield
    except MemoryError:
        raise PictureError("needs more memory than the computer has; scale it down first") from None
    except FAILURES as error:
        raise DamageError(f"{name}: broken or cut short; save or copy it again") from error


class DamageError(PictureError):
    """A file is broken or cut short; some of it may still be decoded."""


class UnknownPageError(PictureError):
    """A TIFF has a page of a kind unknown to Pillow."""


class Ended:
    """A JPEG file that ends as it should: with the marker EOI (ITU-T T.81, annex B.2.1), as often as it is read."""

    def __init__(self, file: BinaryIO) -> None:
        """Wrap an open file. ``completed`` becomes true when the marker was needed."""
        self._file = file
        self.completed = False

    def read(self, count: int = -1) -> bytes:
        """Read from the file, and after its end the marker, repeatedly."""
        data = self._file.read(count)
        self.completed |= not data
        return data or b"\xff\xd9"

    def seek(self, offset: int, whence: int = 0) -> int:
        """Move to a place in the file."""
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        """Return the place in the file."""
        return self._file.tell()


def format_in(image: Image.Image) -> Format:
    """Return the format of an open picture."""
    identity = {"MPO": "JPEG"}.get(image.format or "", image.format)
    return next(one for one in FORMATS if one.identity == identity)


def _require(found: Format) -> None:
    """Load the decoder of a format. Raises PictureError when it is not installed."""
    known = {**features.modules, **features.codecs} if found.feature else {}  # an older Pillow warns of others
    if found.feature and not (found.feature in known and features.check(found.feature)):
        raise PictureError(f"{found.name}: the installed Pillow lacks it; install Pillow from PyPI, or save it as PNG")
    try:
        import_module(found.plugin)
    except ImportError:
        raise PictureError(f"{found.name}: install ladderlight[heif]") from None
