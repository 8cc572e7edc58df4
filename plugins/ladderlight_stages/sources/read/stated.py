"""The colours of a PNG as its own chunks define them: cICP, gAMA and cHRM.

W3C, Portable Network Graphics, third edition: cICP counts for most, then iCCP, then sRGB, then gAMA and cHRM.
"""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ladderlight import Frozen, PictureError
from ladderlight.board import linear_from_srgb
from ladderlight.colour.spaces import adaptation
from ladderlight.units.arrays import Floats, Singles

Primaries = tuple[float, ...]
"""x and y of white, red, green and blue."""

_D65 = (0.3127, 0.3290)
_BT709 = (*_D65, 0.640, 0.330, 0.300, 0.600, 0.150, 0.060)
_PRIMARIES = {  # ITU-T H.273, table 2
    1: _BT709,
    5: (*_D65, 0.640, 0.330, 0.290, 0.600, 0.150, 0.060),
    6: (*_D65, 0.630, 0.340, 0.310, 0.595, 0.155, 0.070),
    9: (*_D65, 0.708, 0.292, 0.170, 0.797, 0.131, 0.046),
    11: (0.314, 0.351, 0.680, 0.320, 0.265, 0.690, 0.150, 0.060),
    12: (*_D65, 0.680, 0.320, 0.265, 0.690, 0.150, 0.060),
}
_SRGB = 0.0  # in place of an exponent: the curve of IEC 61966-2-1
_EXPONENTS = {  # ITU-T H.273, table 3; the curves of television cameras are undone by a display's, ITU-R BT.1886
    **dict.fromkeys((1, 6, 14, 15), 2.4),
    4: 2.2,
    5: 2.8,
    8: 1.0,
    13: _SRGB,
}
_SRGB_GAMMA = 1 / 2.2  # as gAMA holds it: 45455 (W3C PNG, section 11.3.2.2)


class Stated(Frozen):
    """The colours of a file: the exponent from its samples to light, and its primaries."""

    exponent: float
    primaries: Primaries

    @property
    def plain(self) -> bool:
        """Whether they are those of sRGB."""
        return self.exponent == _SRGB and self.primaries == _BT709

    def linear(self, samples: NDArray[np.uint8 | np.uint16]) -> Singles:
        """Decode uint8 or uint16 samples, (height, width) or (height, width, 3), to linear light, sRGB primaries."""
        levels = np.linspace(0, 1, np.iinfo(samples.dtype).max + 1)
        table = linear_from_srgb(levels) if self.exponent == _SRGB else levels**self.exponent
        light: Singles = table.astype(np.float32).take(samples)
        if self.primaries != _BT709 and light.ndim == 3:
            light = np.clip(light @ _to_srgb(self.primaries).T.astype(np.float32), 0.0, 1.0)
        return light


def coding_of(path: Path) -> Stated | None:
    """Read the cICP chunk of a PNG, None when it has none.

    Raises PictureError when the coding is for high dynamic range, or another that is not supported.
    """
    chunk = _chunk(path, b"cICP")
    if chunk is None or len(chunk) != 4:
        return None
    primaries, transfer, matrix, full = chunk
    if primaries not in _PRIMARIES or transfer not in _EXPONENTS or matrix != 0 or full != 1:
        raise PictureError(
            f"its colours are coded as {primaries}/{transfer}/{matrix}/{full} of ITU-T H.273, which is not supported; "
            'save it as sRGB, or set profile = "ignore"'
        )
    return Stated(exponent=_EXPONENTS[transfer], primaries=_PRIMARIES[primaries])


def gamma_of(image: Image.Image) -> Stated | None:
    """Return the colours of a PNG without a profile by gAMA and cHRM, None when it has neither or they are sRGB."""
    if image.format != "PNG" or "srgb" in image.info:
        return None
    gamma: float = image.info.get("gamma", _SRGB_GAMMA)
    usual = abs(gamma - _SRGB_GAMMA) < 0.01 or gamma <= 0
    primaries: Primaries = tuple(image.info.get("chromaticity", _BT709))
    usable = min(primaries[1::2]) > 0 and abs(np.linalg.det(_columns(primaries))) > 1e-4
    if not usable or np.allclose(primaries, _BT709, atol=0.002):
        primaries = _BT709
    stated = Stated(exponent=_SRGB if usual else 1 / gamma, primaries=primaries)
    return None if stated.plain else stated


def _chunk(path: Path, name: bytes) -> bytes | None:
    with path.open("rb") as file:
        file.seek(8)
        while len(head := file.read(8)) == 8:
            length, kind = int.from_bytes(head[:4], "big"), head[4:]
            if kind == name:
                return file.read(length)
            if kind in (b"IDAT", b"IEND"):
                return None
            file.seek(length + 4, 1)
    return None


def _columns(primaries: Primaries) -> Floats:
    points = np.reshape(primaries, (4, 2))[1:]
    return np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in points]).T


def _to_xyz(primaries: Primaries) -> Floats:
    """Return the matrix from linear light to XYZ (SMPTE RP 177)."""
    x, y = primaries[:2]
    columns = _columns(primaries)
    return columns * np.linalg.solve(columns, [x / y, 1.0, (1 - x - y) / y])


def _to_srgb(primaries: Primaries) -> Floats:
    ours, theirs = _to_xyz(_BT709), _to_xyz(primaries)
    result: Floats = np.linalg.inv(ours) @ adaptation(theirs.sum(axis=1), ours.sum(axis=1)) @ theirs
    return result
