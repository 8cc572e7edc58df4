"""The frames of an open picture file: their sizes, durations and orientation, without decoding."""

from itertools import count

from PIL import Image, ImageFile

from ladderlight import Demand
from ladderlight_stages.sources.read.picture_files.limits import FrameSize, refuse_count
from ladderlight_stages.sources.read.picture_files.opening import FAILURES, UnknownPageError, format_in

_ORIENTATION = 0x0112  # the EXIF and TIFF tag
_SUBFILE_TYPE, _TILE_WIDTH, _TILE_HEIGHT, _BITS_PER_SAMPLE = 254, 322, 323, 258
NOT_SHOWN = 0b101
"""NewSubfileType: a thumbnail, or a mask (TIFF 6.0, section 8)."""


def frames_of(image: ImageFile.ImageFile) -> list[FrameSize]:
    """List the frames of an animation or the pages of a document, leaving out what is not meant to be shown.

    A PNG's default picture stands in for its animation where none can be played. A TIFF may hold thumbnails and masks.
    A phone's JPEG or HEIC may hold a depth map after the photograph, and a PSD its layers after the flat picture.
    """
    if image.format in ("MPO", "PSD"):
        return [_size(image, 0)]
    if image.format == "HEIF":
        return [_size(image, image.tell())]
    if image.format == "TIFF":
        return _pages(image)
    frames = getattr(image, "n_frames", 1)
    refuse_count(frames)
    first = 1 if frames > 1 and getattr(image, "default_image", False) else 0
    return [_size(image, number) for number in range(first, frames)]


def _pages(image: ImageFile.ImageFile) -> list[FrameSize]:
    first, shown = _size(image, 0), list[FrameSize]()
    for number in count():
        refuse_count(number + 1)
        try:
            image.seek(number)
        except EOFError:
            return shown or [first]
        except SyntaxError:
            raise UnknownPageError("TIFF: a page is of an unknown kind; save it as RGB") from None
        if not _tag(image, _SUBFILE_TYPE) & NOT_SHOWN:
            shown.append(_size(image, number))
    raise AssertionError  # no TIFF is endless


def _size(image: ImageFile.ImageFile, number: int) -> FrameSize:
    """Return a frame's size; that of a TIFF's tiles where these are larger than the page."""
    width, height = image.size
    if image.format == "TIFF":
        width, height = max(width, _tag(image, _TILE_WIDTH)), max(height, _tag(image, _TILE_HEIGHT))
    return FrameSize(number=number, width=width, height=height, depth=_depth(image))


def _tag(image: ImageFile.ImageFile, number: int) -> int:
    value = image.tag_v2.get(number, 0)  # type: ignore[attr-defined]
    return value if isinstance(value, int) else 0


def _depth(image: ImageFile.ImageFile) -> int:
    """Return the bytes that a pixel takes while the frame is decoded, about."""
    canvases = 4 if image.format == "PNG" and getattr(image, "n_frames", 1) > 1 else format_in(image).canvases
    if image.format in ("JPEG", "MPO"):
        return max(4, 2 * len(image.getbands())) if image.info.get("progressive") else 4
    bits = image.tag_v2.get(_BITS_PER_SAMPLE, (8,)) if image.format == "TIFF" else ()  # type: ignore[attr-defined]
    deep = image.mode.startswith("I") or 16 in bits or any(";16" in str(tile.args) for tile in image.tile)
    return canvases * 4 * (2 if deep else 1)


def is_animated(image: ImageFile.ImageFile) -> bool:
    """Whether a file's frames follow each other in time."""
    return image.format not in ("TIFF", "PSD", "MPO", "HEIF") and getattr(image, "n_frames", 1) > 1


def frame_duration(image: ImageFile.ImageFile) -> float:
    """Return the milliseconds for which an animation's frame is to be shown, 0 when the file has no duration."""
    image.load()
    return float(image.info.get("duration") or 0)


def orientation(image: Image.Image) -> int:
    """Return the EXIF orientation, 1 to 8; 1 when there is none or it cannot be read."""
    try:
        value = image.getexif().get(_ORIENTATION, 1)
    except FAILURES:
        return 1
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def is_sideways(image: ImageFile.ImageFile) -> bool:
    """Whether width and height change places when a frame that is not decoded yet is turned upright."""
    if image.format == "PNG" and "exif" not in image.info:
        return False  # Pillow would decode the picture to find it after it
    return orientation(image) >= 5


def reduce_scale(image: ImageFile.ImageFile, demand: Demand) -> None:
    """Set a JPEG's decoder to the smallest scale (1/8, 1/4, 1/2 or 1) that reaches the demanded size.

    The demand is for the picture as shown, upright.
    """
    if image.format not in ("JPEG", "MPO") or demand.width is None or demand.height is None:
        return
    size = (demand.width, demand.height)
    image.draft(None, size if orientation(image) < 5 else size[::-1])
