"""Reading: formats, modes, orientation, transparency, frames, errors."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from ladderlight import Demand, PictureError
from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight_stages.sources.read.stage import read


def encoded(picture) -> np.ndarray:
    """A picture's samples back as sRGB of 8 bits."""
    return np.rint(srgb_from_linear(picture.pixels) * 255).astype(np.uint8)


@pytest.mark.parametrize("suffix", ["png", "bmp", "tif", "ppm"])
def test_exact_formats_come_back_to_the_last_bit(tmp_path, samples, read_one, suffix):
    path = tmp_path / f"quay.{suffix}"
    Image.fromarray(samples).save(path)
    picture = read_one(path)
    assert picture.pixels.dtype == np.float32
    assert picture.pixels.shape == (24, 32, 3)
    assert picture.pixels.flags.c_contiguous
    np.testing.assert_array_equal(encoded(picture), samples)
    np.testing.assert_allclose(picture.pixels, linear_from_srgb(samples / 255), atol=1e-7)
    assert picture.origin.name == "quay"
    assert picture.origin.source == str(path)
    assert picture.origin.frame == 0
    assert picture.origin.duration is None


@pytest.mark.parametrize("suffix", ["jpg", "webp"])
def test_lossy_formats_come_close(tmp_path, samples, read_one, suffix):
    path = tmp_path / f"quay.{suffix}"
    Image.fromarray(samples).save(path, quality=95)
    assert np.abs(encoded(read_one(path)).astype(int) - samples).mean() < 3


def test_lossless_webp_and_gif(tmp_path, samples, read_one):
    Image.fromarray(samples).save(tmp_path / "quay.webp", lossless=True)
    np.testing.assert_array_equal(encoded(read_one(tmp_path / "quay.webp")), samples)
    few = samples // 64 * 64
    Image.fromarray(few).quantize(64).save(tmp_path / "quay.gif")
    np.testing.assert_array_equal(encoded(read_one(tmp_path / "quay.gif")), few)


@pytest.mark.parametrize("suffix", ["png", "tif", "pgm"])
def test_grey_gives_three_equal_channels(tmp_path, samples, read_one, suffix):
    path = tmp_path / f"fog.{suffix}"
    Image.fromarray(samples[:, :, 0]).save(path)
    pixels = encoded(read_one(path))
    for channel in range(3):
        np.testing.assert_array_equal(pixels[:, :, channel], samples[:, :, 0])


def test_black_and_white(tmp_path, read_one):
    bits = np.eye(8, dtype=bool)
    Image.fromarray(bits).save(tmp_path / "flag.pbm")
    Image.fromarray(bits).save(tmp_path / "flag.png")
    for name in ("flag.pbm", "flag.png"):
        np.testing.assert_array_equal(read_one(tmp_path / name).pixels[:, :, 1], bits)


@pytest.mark.parametrize("channels", [1, 2, 3, 4])
def test_all_16_bits_of_a_png_count(tmp_path, read_one, write_png16, channels):
    values = np.random.default_rng(3).integers(0, 65536, (9, 11, channels), dtype=np.uint16)
    write_png16(tmp_path / "deep.png", values)
    pixels = read_one(tmp_path / "deep.png").pixels
    colour = linear_from_srgb(values[:, :, : 1 if channels < 3 else 3] / 65535)
    if channels in (2, 4):
        colour = colour * (values[:, :, -1:] / 65535)
    np.testing.assert_allclose(pixels, np.broadcast_to(colour, pixels.shape), atol=2e-7)


def test_transparent_colour_of_a_16_bit_png(tmp_path, read_one, write_png16):
    values = np.full((2, 2, 3), 1000, dtype=np.uint16)
    values[0, 0] = 1000, 1000, 1001  # differs in the last of 16 bits only
    write_png16(tmp_path / "key.png", values, extra=bytes.fromhex("03e803e803e8"))
    pixels = read_one(tmp_path / "key.png", matte="white").pixels
    assert pixels[0, 0, 0] == pytest.approx(linear_from_srgb(np.array(1000 / 65535)), abs=1e-7)
    np.testing.assert_array_equal(pixels[1], 1)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("compression", [None, "zlib"])
@pytest.mark.parametrize("layout", ["grey", "colour", "planes", "tiles"])
def test_all_16_bits_of_a_tiff_count(tmp_path, read_one, order, compression, layout):
    tifffile = pytest.importorskip("tifffile")  # comes with scikit-image
    values = np.random.default_rng(4).integers(0, 65536, (40, 50, 3), dtype=np.uint16)
    more = {"photometric": "rgb"}
    data = values
    if layout == "grey":
        data, values, more = values[:, :, 0], values[:, :, :1], {"photometric": "minisblack"}
    if layout == "planes":
        data, more["planarconfig"] = np.moveaxis(values, 2, 0), "separate"
    if layout == "tiles":
        more["tile"] = (16, 16)
    tifffile.imwrite(tmp_path / "deep.tif", data, byteorder=order, compression=compression, **more)
    pixels = read_one(tmp_path / "deep.tif").pixels
    exact = np.broadcast_to(linear_from_srgb(values / 65535), pixels.shape)
    # Compressed separate planes are the one kind of which only 8 bits are read.
    tolerance = 1 / 100 if layout == "planes" and compression else 2e-7
    np.testing.assert_allclose(pixels, exact, atol=tolerance)


def test_white_is_zero_in_16_bits(tmp_path, read_one):
    tifffile = pytest.importorskip("tifffile")
    values = np.array([[0, 65535], [1, 32768]], dtype=np.uint16)
    tifffile.imwrite(tmp_path / "fax.tif", values, photometric="miniswhite")
    expected = linear_from_srgb((65535 - values) / 65535)
    np.testing.assert_allclose(read_one(tmp_path / "fax.tif").pixels[:, :, 0], expected, atol=1e-7)


@pytest.mark.parametrize("compression", [None, "zlib"])
@pytest.mark.parametrize("kind", ["unassalpha", "assocalpha"])
def test_alpha_of_a_16_bit_tiff(tmp_path, read_one, compression, kind):
    tifffile = pytest.importorskip("tifffile")
    random = np.random.default_rng(18)
    alpha = random.integers(20000, 65536, (20, 30, 1))
    colour = random.integers(0, 65536, (20, 30, 3))
    stored = colour * alpha // 65535 if kind == "assocalpha" else colour
    values = np.concatenate([stored, alpha], axis=2).astype(np.uint16)
    tifffile.imwrite(tmp_path / "a.tif", values, photometric="rgb", extrasamples=[kind], compression=compression)
    expected = linear_from_srgb(colour / 65535) * (alpha / 65535)
    np.testing.assert_allclose(read_one(tmp_path / "a.tif").pixels, expected, atol=2e-4)


def test_gamma_of_a_png(tmp_path, read_one, write_png16):
    # W3C PNG, section 11.3.2.2: the chunk holds gamma times 100000; a sample is light to the power of gamma.
    values = np.linspace(0, 65535, 60).astype(np.uint16).reshape(4, 5, 3)
    write_png16(tmp_path / "render.png", values, kind=b"gAMA", extra=(100000).to_bytes(4, "big"))
    np.testing.assert_allclose(read_one(tmp_path / "render.png").pixels, values / 65535, atol=1e-7)
    srgb = linear_from_srgb(values / 65535)
    np.testing.assert_allclose(read_one(tmp_path / "render.png", profile="ignore").pixels, srgb, atol=2e-7)
    write_png16(tmp_path / "usual.png", values, kind=b"gAMA", extra=(45455).to_bytes(4, "big"))
    np.testing.assert_allclose(read_one(tmp_path / "usual.png").pixels, srgb, atol=2e-7)


def test_inks_of_16_bits(tmp_path, read_one):
    tifffile = pytest.importorskip("tifffile")
    inks = np.zeros((4, 4, 4), dtype=np.uint16)
    inks[:2, :, 0] = 65535
    tifffile.imwrite(tmp_path / "print.tif", inks, photometric="separated")
    np.testing.assert_array_equal(encoded(read_one(tmp_path / "print.tif"))[[0, 3], 0], [(0, 255, 255), (255,) * 3])


@pytest.mark.parametrize("suffix", ["jpg", "tif"])
def test_cmyk(tmp_path, read_one, suffix):
    # Pillow writes CMYK JPEGs inverted, as is usual, with the marker that says so; read straight they are negative.
    inks = np.zeros((16, 48, 4), dtype=np.uint8)
    inks[:, :16] = 255, 0, 0, 0
    inks[:, 16:32] = 0, 0, 0, 255
    path = tmp_path / f"print.{suffix}"
    Image.fromarray(inks, "CMYK").save(path, **({"quality": 95} if suffix == "jpg" else {}))
    pixels = encoded(read_one(path)).astype(int)
    assert np.abs(pixels[8, 8] - (0, 255, 255)).max() <= 3
    assert np.abs(pixels[8, 24] - (0, 0, 0)).max() <= 3
    assert np.abs(pixels[8, 40] - (255, 255, 255)).max() <= 3


@pytest.mark.parametrize("suffix", ["png", "webp", "tif"])
def test_alpha_over_a_matte_in_linear_light(tmp_path, read_one, suffix):
    rgba = np.zeros((4, 4, 4), dtype=np.uint8)
    rgba[:, :, 0] = 255
    rgba[:, :, 3] = 128
    Image.fromarray(rgba, "RGBA").save(tmp_path / f"glass.{suffix}", **({"lossless": True} if suffix == "webp" else {}))
    pixels = read_one(tmp_path / f"glass.{suffix}", matte="#00ff00").pixels
    np.testing.assert_allclose(pixels[0, 0], (128 / 255, 127 / 255, 0), atol=1e-6)


def test_grey_with_alpha(tmp_path, read_one):
    values = np.array([[[255, 0], [255, 255], [0, 255]]], dtype=np.uint8)
    Image.fromarray(values, "LA").save(tmp_path / "mist.png")
    pixels = read_one(tmp_path / "mist.png", matte="blue").pixels
    np.testing.assert_allclose(pixels[0], [(0, 0, 1), (1, 1, 1), (0, 0, 0)], atol=1e-7)


@pytest.mark.parametrize("suffix", ["png", "gif"])
def test_palette_with_transparency(tmp_path, read_one, suffix):
    image = Image.fromarray(np.array([[0, 1, 2]], dtype=np.uint8), "P")
    image.putpalette([255, 0, 0, 0, 255, 0, 0, 0, 255])
    image.save(tmp_path / f"buoy.{suffix}", transparency=1)
    pixels = read_one(tmp_path / f"buoy.{suffix}", matte="white").pixels
    np.testing.assert_allclose(pixels[0], [(1, 0, 0), (1, 1, 1), (0, 0, 1)], atol=1e-7)


def test_palette_with_several_alphas(tmp_path, read_one):
    image = Image.fromarray(np.array([[0, 1]], dtype=np.uint8), "P")
    image.putpalette([255, 255, 255, 255, 255, 255])
    image.save(tmp_path / "spray.png", transparency=bytes([51, 255]))
    pixels = read_one(tmp_path / "spray.png").pixels
    np.testing.assert_allclose(pixels[0, :, 0], [0.2, 1], atol=1e-6)


@pytest.mark.parametrize("suffix", ["jpg", "png", "webp", "tif"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation(tmp_path, read_one, suffix, orientation):
    # Exif 2.32, tag 274: where row 0 and column 0 of the stored picture are to be shown.
    shown = np.zeros((32, 48, 3), dtype=np.uint8)
    shown[:16, :16, 0] = 255
    shown[16:, 32:, 1] = 255
    stored = {
        1: shown,
        2: shown[:, ::-1],
        3: shown[::-1, ::-1],
        4: shown[::-1],
        5: shown.transpose(1, 0, 2),
        6: shown.transpose(1, 0, 2)[::-1],
        7: shown[::-1, ::-1].transpose(1, 0, 2),
        8: shown.transpose(1, 0, 2)[:, ::-1],
    }[orientation]
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = tmp_path / f"turned.{suffix}"
    more = {"jpg": {"quality": 95, "subsampling": 0}, "webp": {"lossless": True}}.get(suffix, {})
    Image.fromarray(np.ascontiguousarray(stored)).save(path, exif=exif, **more)
    pixels = encoded(read_one(path)).astype(int)
    assert pixels.shape == shown.shape
    assert np.abs(pixels - shown).max() <= 12


@pytest.mark.parametrize(("orientation", "size"), [(1, (500, 375)), (6, (375, 500))])
def test_large_jpegs_are_decoded_no_larger_than_demanded(tmp_path, orientation, size):
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = tmp_path / "large.jpg"
    Image.new("RGB", (2000, 1500), "teal").save(path, exif=exif)
    demand = Demand(width=size[0], height=size[1])
    (picture,) = read(path, demand)
    assert picture.pixels.shape[:2] == size[::-1]  # exactly a quarter
    more = Demand(width=size[0] + 1, height=size[1])
    (picture,) = read(path, more)
    assert picture.pixels.shape[:2] == (size[1] * 2, size[0] * 2)
    (picture,) = read(path, demand, scale="full")
    assert picture.pixels.shape[:2] == (size[1] * 4, size[0] * 4)


def test_a_jpegs_decoder_darkens_fine_stripes_unless_it_is_read_in_full(tmp_path):
    """Half of the encoded range is 0.214 of the light (IEC 61966-2-1); half black and half white is half the light."""
    stripes = np.zeros((480, 640), dtype=np.uint8)
    stripes[:, np.arange(640) // 4 % 2 == 1] = 255
    path = tmp_path / "stripes.jpg"
    Image.fromarray(stripes).save(path, quality=95)
    demand = Demand(width=80, height=60)
    (small,), (full,) = read(path, demand), read(path, demand, scale="full")
    assert small.pixels.shape == (60, 80, 3)
    assert small.pixels.mean() == pytest.approx(0.216, abs=0.004)
    assert full.pixels.mean() == pytest.approx(0.5, abs=0.005)


def frames_of(count: int) -> list[Image.Image]:
    return [Image.new("RGB", (8, 6), (0, 40 * number, 255 - 40 * number)) for number in range(count)]


@pytest.mark.parametrize("suffix", ["gif", "png", "webp"])
def test_frames_and_durations(tmp_path, suffix):
    path = tmp_path / f"tide.{suffix}"
    first, *rest = frames_of(4)
    more = {"lossless": True} if suffix == "webp" else {}
    first.save(path, save_all=True, append_images=rest, duration=[100, 250, 40, 1000], loop=0, **more)
    pictures = list(read(path, Demand()))
    assert [picture.origin.name for picture in pictures] == ["tide", "tide#1", "tide#2", "tide#3"]
    assert [picture.origin.frame for picture in pictures] == [0, 1, 2, 3]
    assert [picture.origin.duration for picture in pictures] == pytest.approx([0.1, 0.25, 0.04, 1.0])
    for number, picture in enumerate(pictures):
        np.testing.assert_array_equal(encoded(picture)[3, 4], (0, 40 * number, 255 - 40 * number))


def test_choosing_frames(tmp_path):
    path = tmp_path / "tide.gif"
    first, *rest = frames_of(5)
    first.save(path, save_all=True, append_images=rest, duration=[10, 20, 30, 40, 50])
    names = lambda **options: [picture.origin.name for picture in read(path, Demand(), **options)]  # noqa: E731
    assert names(frames="first") == ["tide"]
    assert names(every=2) == ["tide", "tide#2", "tide#4"]
    assert names(page=3) == ["tide"]
    halved = list(read(path, Demand(), every=2))
    assert [picture.origin.duration for picture in halved] == pytest.approx([0.03, 0.07, 0.05])
    (third,) = read(path, Demand(), page=3)
    assert third.origin.frame == 2
    np.testing.assert_array_equal(encoded(third)[0, 0], (0, 80, 175))
    with pytest.raises(PictureError, match=r"^page = 6 is beyond its 5; choose one of 1 to 5"):
        list(read(path, Demand(), page=6))


def test_an_animated_png_without_its_stand_in(tmp_path):
    stand_in, *frames = frames_of(3)
    stand_in.save(tmp_path / "tide.png", save_all=True, append_images=frames, default_image=True, duration=80)
    pictures = list(read(tmp_path / "tide.png", Demand()))
    assert [tuple(encoded(picture)[0, 0]) for picture in pictures] == [(0, 40, 215), (0, 80, 175)]
    assert [picture.origin.name for picture in pictures] == ["tide", "tide#2"]


def test_pages_of_a_tiff_without_thumbnails(tmp_path):
    tifffile = pytest.importorskip("tifffile")
    pages = np.random.default_rng(5).integers(0, 65536, (2, 12, 16, 3), dtype=np.uint16)
    with tifffile.TiffWriter(tmp_path / "log.tif") as writer:
        writer.write(pages[0], photometric="rgb")
        writer.write(np.zeros((3, 4), dtype=np.uint8), subfiletype=1)
        writer.write(pages[1], photometric="rgb")
    pictures = list(read(tmp_path / "log.tif", Demand()))
    assert [picture.origin.frame for picture in pictures] == [0, 2]
    assert [picture.origin.duration for picture in pictures] == [None, None]
    for picture, page in zip(pictures, pages, strict=True):
        np.testing.assert_allclose(picture.pixels, linear_from_srgb(page / 65535), atol=2e-7)


def test_a_phones_second_picture_is_left_out(tmp_path):
    first, second = frames_of(2)
    first.save(tmp_path / "phone.jpg", format="MPO", save_all=True, append_images=[second])
    assert len(list(read(tmp_path / "phone.jpg", Demand()))) == 1


def picture_bytes(suffix: str) -> bytes:
    image = Image.fromarray(np.random.default_rng(7).integers(0, 256, (40, 40, 3), dtype=np.uint8))
    stream = io.BytesIO()
    image.save(stream, {"jpg": "JPEG", "tif": "TIFF", "ppm": "PPM"}.get(suffix, suffix))
    return stream.getvalue()


SUFFIXES = ["png", "jpg", "gif", "webp", "tif", "bmp", "ppm"]


@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize("share", [0.0, 0.02, 0.3, 0.7])
def test_cut_short_files(tmp_path, read_one, suffix, share):
    data = picture_bytes(suffix)
    path = tmp_path / f"cut.{suffix}"
    path.write_bytes(data[: int(len(data) * share)])
    with pytest.raises(PictureError) as caught:
        read_one(path)
    assert "; " in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_damaged_files_are_read_or_refused_in_one_line(tmp_path, read_one, suffix):
    random = np.random.default_rng(8)
    data = np.frombuffer(picture_bytes(suffix), dtype=np.uint8)
    refused = 0
    for _ in range(60):
        damaged = data.copy()
        places = random.integers(0, min(len(data), 400), 6)
        damaged[places] = random.integers(0, 256, 6)
        path = tmp_path / f"damaged.{suffix}"
        path.write_bytes(damaged.tobytes())
        try:
            pixels = read_one(path).pixels
        except PictureError as error:
            assert "\n" not in str(error)
            refused += 1
        else:
            assert pixels.shape[2] == 3
    assert refused > 0


def test_other_files(tmp_path, read_one):
    path = tmp_path / "notes.png"
    path.write_text("high water 06:12")
    with pytest.raises(PictureError, match=r"^not a picture that can be read; use PNG, JPEG"):
        read_one(path)
    with pytest.raises(PictureError, match=r"^no such file"):
        read_one(tmp_path / "none.png")
    with pytest.raises(PictureError, match=r"^a folder or a device, not a picture file; check the name"):
        read_one(tmp_path)


def test_too_many_pixels(tmp_path, read_one):
    path = tmp_path / "vast.pgm"
    path.write_bytes(b"P5 60000 60000 255\n")
    with pytest.raises(PictureError, match="60000x60000 pixels are more than 250 million; scale it down first"):
        read_one(path)


@pytest.mark.filterwarnings("ignore:Corrupt EXIF")  # of Pillow's; outside the tests it is silenced
def test_broken_exif_is_no_orientation(tmp_path, samples, read_one):
    Image.fromarray(samples).save(tmp_path / "quay.jpg", exif=b"Exif\0\0MM\0*\0\0\0\x08\0\x09trash")
    assert read_one(tmp_path / "quay.jpg").pixels.shape == (24, 32, 3)


@pytest.mark.parametrize("suffix", ["png", "gif", "webp", "tif"])
def test_other_large_files_are_averaged_in_linear_light(tmp_path, suffix):
    stripes = np.zeros((960, 1280, 3), dtype=np.uint8)
    stripes[:, ::2] = 255
    path = tmp_path / f"fence.{suffix}"
    Image.fromarray(stripes).save(path, **({"lossless": True} if suffix == "webp" else {}))
    (picture,) = read(path, Demand(width=320, height=240))
    assert picture.pixels.shape == (480, 640, 3)
    np.testing.assert_allclose(picture.pixels, 0.5)
    (picture,) = read(path, Demand(width=320, height=240), scale="full")
    assert picture.pixels.shape == (960, 1280, 3)
