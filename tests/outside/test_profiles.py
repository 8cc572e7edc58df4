"""Embedded colour profiles against LittleCMS called directly, and against colour arithmetic of other libraries."""

from __future__ import annotations

import io
import struct
from collections.abc import Callable

import numpy as np
import pytest
from PIL import Image, ImageCms

from ladderlight import Demand
from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight_stages.sources.read.stage import read

WIDE_PRIMARIES = np.array([(0.680, 0.320), (0.265, 0.690), (0.150, 0.060)])  # SMPTE RP 431-2, with D65 as white
D65, D50 = np.array([0.95047, 1.0, 1.08883]), np.array([0.9642, 1.0, 0.8249])  # ASTM E308; ICC.1:2022, 7.2.16
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def profile_of(tags: dict[bytes, bytes], *, kind: bytes, space: bytes, connection: bytes) -> bytes:
    """Put an ICC profile together (ICC.1:2010, version 2.4 header)."""
    table, body = struct.pack(">I", len(tags)), b""
    for signature, data in tags.items():
        start = 128 + 4 + 12 * len(tags) + len(body)
        table += signature + struct.pack(">II", start, len(data))
        body += data + bytes(-len(data) % 4)
    size = 128 + len(table) + len(body)
    header = struct.pack(">I4sI4s4s4s12s4s", size, b"", 0x02400000, kind, space, connection, bytes(12), b"acsp")
    header += bytes(28) + struct.pack(">3i", *(round(value * 65536) for value in D50))
    return header.ljust(128, b"\0") + table + body


def xyz(values: np.ndarray) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(float(value) * 65536) for value in values))


def curve(values: np.ndarray) -> bytes:
    return b"curv\0\0\0\0" + struct.pack(">I", len(values)) + np.rint(values * 65535).astype(">u2").tobytes()


def parametric(kind: int, *numbers: float) -> bytes:
    return b"para" + struct.pack(f">iHH{len(numbers)}i", 0, kind, 0, *(round(number * 65536) for number in numbers))


def wide_matrix() -> np.ndarray:
    """Linear wide-gamut colours to XYZ under D65 (SMPTE RP 177)."""
    columns = np.array([(x / y, 1, (1 - x - y) / y) for x, y in WIDE_PRIMARIES]).T
    return columns * np.linalg.solve(columns, D65)


@pytest.fixture(scope="module")
def wide_profile() -> bytes:
    """A display profile with wide primaries and the sRGB curve, as phones' cameras embed one."""
    adapt = np.linalg.inv(BRADFORD) @ np.diag((BRADFORD @ D50) / (BRADFORD @ D65)) @ BRADFORD
    colorants = adapt @ wide_matrix()
    tags = {b"wtpt": xyz(D50)}
    tags |= {name: xyz(colorants[:, gun]) for gun, name in enumerate((b"rXYZ", b"gXYZ", b"bXYZ"))}
    steps = curve(linear_from_srgb(np.linspace(0, 1, 4096)))
    tags |= dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), steps)
    return profile_of(tags, kind=b"mntr", space=b"RGB ", connection=b"XYZ ")


@pytest.fixture(scope="module")
def ink_profile() -> bytes:
    """A printer's profile: CMYK to Lab by a table of two steps per ink, whose blackest is L* = 18."""
    paper, inks = np.array([100.0, 0, 0]), np.array([(-40, -35, -45), (-45, 70, -5), (-8, -5, 85), (-70, 0, 0)])
    corners = []
    for c, m, y, k in np.ndindex(2, 2, 2, 2):
        lab = paper + inks[0] * c + inks[1] * m + inks[2] * y
        lab = lab * np.array([1, 1 - k, 1 - k]) + inks[3] * k
        corners.append((np.clip(lab[0], 18, 100) * 255 / 100, lab[1] + 128, lab[2] + 128))
    identity = bytes(range(256))
    unit = struct.pack(">9i", *(65536 if n % 4 == 0 else 0 for n in range(9)))
    table = np.clip(np.rint(corners), 0, 255).astype(np.uint8).tobytes()
    lut = b"mft1\0\0\0\0" + bytes([4, 3, 2, 0]) + unit + identity * 4 + table + identity * 3
    return profile_of({b"wtpt": xyz(D50), b"A2B0": lut}, kind=b"prtr", space=b"CMYK", connection=b"Lab ")


@pytest.fixture
def encoded() -> Callable[..., np.ndarray]:
    """Read a file as sRGB samples of 8 bits."""

    def read_samples(path, **options: object) -> np.ndarray:
        (picture,) = read(path, Demand(), **options)  # type: ignore[arg-type]
        return np.rint(srgb_from_linear(picture.pixels) * 255).astype(int)

    return read_samples


def by_littlecms(image: Image.Image, profile: bytes, *, intent: int = 0, flags: int = 0x2000) -> np.ndarray:
    """Perceptual intent is 0 and black-point compensation 2000h in LittleCMS's own header."""
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(profile)), ImageCms.createProfile("sRGB"), image.mode, "RGB", intent, flags
    )
    return np.asarray(ImageCms.applyTransform(image, transform)).astype(int)


@pytest.mark.parametrize("suffix", ["png", "tif", "jpg", "webp"])
def test_a_wide_gamut_picture_against_littlecms(tmp_path, encoded, wide_profile, suffix):
    samples = np.random.default_rng(13).integers(0, 256, (32, 32, 3), dtype=np.uint8)
    path = tmp_path / f"wide.{suffix}"
    Image.fromarray(samples).save(path, icc_profile=wide_profile, **({"lossless": True} if suffix == "webp" else {}))
    with Image.open(path) as image:  # a JPEG as it was stored
        expected = by_littlecms(image.convert("RGB"), wide_profile)
        plain = np.asarray(image.convert("RGB")).astype(int)
    np.testing.assert_array_equal(encoded(path), expected)
    assert np.abs(expected - plain).max() > 30  # the profile matters
    np.testing.assert_array_equal(encoded(path, profile="ignore"), plain)


def test_a_wide_gamut_picture_against_the_colorimetric_formula(tmp_path, encoded, wide_profile):
    # colour-science's XYZ to sRGB. A profile of matrix and curves has no perceptual table: colours beyond sRGB clip.
    colour = pytest.importorskip("colour")
    samples = np.random.default_rng(14).integers(0, 256, (64, 64, 3), dtype=np.uint8)
    Image.fromarray(samples).save(tmp_path / "wide.png", icc_profile=wide_profile)
    light = linear_from_srgb(samples / 255) @ wide_matrix().T
    inside = colour.XYZ_to_sRGB(light, apply_cctf_encoding=False)
    expected = np.rint(srgb_from_linear(np.clip(inside, 0, 1)) * 255)
    difference = np.abs(encoded(tmp_path / "wide.png") - expected)
    assert difference.mean() < 0.3
    assert np.percentile(difference, 99) <= 2  # LittleCMS works in 16-bit steps, coarse near black


@pytest.mark.parametrize("compression", [None, "zlib"])
def test_deep_samples_keep_their_precision_through_a_profile(tmp_path, wide_profile, compression):
    tifffile = pytest.importorskip("tifffile")
    samples = np.random.default_rng(15).integers(0, 65536, (32, 32, 3), dtype=np.uint16)
    tifffile.imwrite(tmp_path / "w.tif", samples, photometric="rgb", iccprofile=wide_profile, compression=compression)
    (picture,) = read(tmp_path / "w.tif", Demand())
    # The colorimetric formula in floating point, with the sRGB matrix inverted from IEC 61966-2-1.
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    light = linear_from_srgb(samples / 65535) @ wide_matrix().T @ np.linalg.inv(to_xyz).T
    np.testing.assert_allclose(picture.pixels, np.clip(light, 0, 1), atol=8e-4)  # colorants are held to 1/65536
    # LittleCMS has 8 bits of them to work with.
    littlecms = by_littlecms(Image.fromarray(np.rint(samples / 257).astype(np.uint8)), wide_profile)
    difference = np.abs(srgb_from_linear(picture.pixels) * 255 - littlecms)
    assert np.percentile(difference, 95) < 1.5


@pytest.mark.parametrize(
    ("curve_tag", "formula"),
    [
        (curve(np.empty(0)), lambda x: x),
        (b"curv" + struct.pack(">iiH", 0, 1, 0x0233), lambda x: x ** (0x233 / 256)),
        (curve(np.array([0, 0.25, 1])), lambda x: np.interp(x, [0, 0.5, 1], [0, 0.25, 1])),
        (parametric(0, 2.2), lambda x: x**2.2),
        (parametric(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045), linear_from_srgb),
    ],
    ids=["identity", "gamma", "table", "power", "srgb"],
)
def test_kinds_of_curves_on_deep_grey(tmp_path, curve_tag, formula):
    # ICC.1:2022, sections 10.6 (curveType) and 10.18 (parametricCurveType); LittleCMS reads the same tags.
    tifffile = pytest.importorskip("tifffile")
    tags = {b"wtpt": xyz(D50), b"kTRC": curve_tag}
    profile = profile_of(tags, kind=b"mntr", space=b"GRAY", connection=b"XYZ ")
    samples = np.linspace(0, 65535, 256).astype(np.uint16)[np.newaxis]
    tifffile.imwrite(tmp_path / "g.tif", samples, photometric="minisblack", iccprofile=profile)
    (picture,) = read(tmp_path / "g.tif", Demand())
    np.testing.assert_allclose(picture.pixels[0, :, 1], formula(samples[0] / 65535), atol=1e-4)
    # The upper bytes of 0, 257, 514, ... are 0, 1, 2, ...
    littlecms = by_littlecms(Image.fromarray((samples >> 8).astype(np.uint8)), profile)[0, :, 1]
    difference = np.abs(srgb_from_linear(picture.pixels[0, :, 1]) * 255 - littlecms)
    assert np.median(difference) < 0.6
    assert difference[64:].max() < 1  # its 8-bit tables are coarse near black


def test_transparency_stays_beside_a_profile(tmp_path, encoded, wide_profile):
    samples = np.random.default_rng(16).integers(0, 256, (8, 8, 4), dtype=np.uint8)
    samples[:, :4, 3], samples[:, 4:, 3] = 0, 255
    Image.fromarray(samples).save(tmp_path / "wide.png", icc_profile=wide_profile)
    result = encoded(tmp_path / "wide.png", matte="white")
    np.testing.assert_array_equal(result[:, :4], 255)
    colours = Image.fromarray(np.ascontiguousarray(samples[:, 4:, :3]))
    np.testing.assert_array_equal(result[:, 4:], by_littlecms(colours, wide_profile))


def test_srgb_profiles_change_nothing(tmp_path, encoded):
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    samples = np.random.default_rng(17).integers(0, 256, (32, 32, 3), dtype=np.uint8)
    Image.fromarray(samples).save(tmp_path / "usual.png", icc_profile=profile)
    np.testing.assert_array_equal(encoded(tmp_path / "usual.png"), samples)
    Image.fromarray(samples[:, :, 0]).save(tmp_path / "grey.png", icc_profile=profile)
    np.testing.assert_array_equal(encoded(tmp_path / "grey.png")[:, :, 2], samples[:, :, 0])


@pytest.mark.parametrize("suffix", ["tif", "jpg"])
def test_inks_with_a_profile(tmp_path, encoded, ink_profile, suffix):
    inks = np.zeros((16, 64, 4), dtype=np.uint8)
    inks[:, 16:32, 0] = 128
    inks[:, 32:48] = 255
    inks[:, 48:] = 0, 128, 128, 64
    path = tmp_path / f"print.{suffix}"
    Image.fromarray(inks, "CMYK").save(path, icc_profile=ink_profile)
    with Image.open(path) as image:
        expected = by_littlecms(image, ink_profile)
        uncompensated = by_littlecms(image, ink_profile, intent=1, flags=0)
    result = encoded(path)
    np.testing.assert_array_equal(result, expected)
    np.testing.assert_allclose(result[8, 8], 255, atol=1)  # paper
    # Black-point compensation: all inks together, L* = 18, become black; they would be a dark grey.
    assert result[8, 40].max() <= 3
    assert uncompensated[8, 40].min() > 30


AS_SRGB = "its colours are taken as sRGB; save it with a profile that fits"


def caution_of(path):
    (picture,) = read(path, Demand())
    return picture.notes["caution"]


def test_profiles_that_cannot_be_used(tmp_path, encoded, wide_profile, ink_profile):
    image = Image.new("RGB", (4, 4), "teal")
    image.save(tmp_path / "a.png", icc_profile=b"not a profile")
    assert caution_of(tmp_path / "a.png") == f"its colour profile is broken; {AS_SRGB}"
    np.testing.assert_array_equal(encoded(tmp_path / "a.png")[0, 0], (0, 128, 128))
    image.save(tmp_path / "b.png", icc_profile=ink_profile)
    assert caution_of(tmp_path / "b.png") == f"its colour profile is for CMYK, but the picture is RGB; {AS_SRGB}"
    np.testing.assert_array_equal(encoded(tmp_path / "b.png")[0, 0], (0, 128, 128))
    np.testing.assert_array_equal(encoded(tmp_path / "b.png", profile="ignore")[0, 0], (0, 128, 128))


@pytest.mark.parametrize(
    ("mode", "suffix"),
    [("L", "png"), ("LA", "png"), ("RGB", "png"), ("P", "png"), ("RGBA", "png"), ("L", "webp"), ("RGBA", "webp")],
)
def test_grey_with_a_grey_profile_in_every_guise(tmp_path, mode, suffix):
    """A curve of a single number is a gamma, here 1.8 (ICC.1:2022, section 10.6)."""
    gamma = b"curv" + bytes(4) + struct.pack(">IH", 1, round(1.8 * 256))
    profile = profile_of({b"wtpt": xyz(D50), b"kTRC": gamma}, kind=b"mntr", space=b"GRAY", connection=b"XYZ ")
    levels = np.arange(256, dtype=np.uint8).reshape(16, 16)
    path = tmp_path / f"grey.{suffix}"
    Image.fromarray(levels).convert(mode).save(path, icc_profile=profile, lossless=True)
    (picture,) = read(path, Demand())
    np.testing.assert_allclose(picture.pixels[:, :, 1], (levels / 255) ** 1.8, atol=0.005)


def test_a_grey_profile_on_a_coloured_picture_is_a_caution(tmp_path):
    gamma = b"curv" + bytes(4) + struct.pack(">IH", 1, 256)
    profile = profile_of({b"wtpt": xyz(D50), b"kTRC": gamma}, kind=b"mntr", space=b"GRAY", connection=b"XYZ ")
    Image.new("RGB", (4, 4), (255, 0, 0)).save(tmp_path / "red.png", icc_profile=profile)
    (picture,) = read(tmp_path / "red.png", Demand())
    assert picture.notes["caution"] == f"its colour profile is for grey, but the picture is RGB; {AS_SRGB}"
    np.testing.assert_array_equal(picture.pixels[0, 0], (1, 0, 0))
