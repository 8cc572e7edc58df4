"""Areas keep their colours, by CIEDE2000 of scikit-image after a blur of two pixels in linear light."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from skimage import data
from skimage.color import deltaE_ciede2000, rgb2lab
from skimage.transform import resize

from ladderlight import Board, CodedPicture, Origin, Picture
from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight_stages.perception.vision import Viewer
from ladderlight_stages.reductions.advise import advise
from ladderlight_stages.reductions.diffuse.stage import diffuse
from ladderlight_stages.reductions.nearest import nearest
from ladderlight_stages.reductions.search import search
from ladderlight_stages.refining.area_colours import AreaColours

PHOTOGRAPHS = {
    "astronaut": data.astronaut,
    "cat": data.chelsea,
    "coffee": data.coffee,
    "camera": data.camera,
    "rocket": data.rocket,
}
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1


def photograph(name: str) -> Picture:
    """The middle of a photograph, 160x120."""
    pixels = PHOTOGRAPHS[name]()
    if pixels.ndim == 2:
        pixels = np.stack([pixels] * 3, axis=-1)
    height, width = pixels.shape[:2]
    across, down = min(width, height * 4 // 3), min(height, width * 3 // 4)
    left, top = (width - across) // 2, (height - down) // 2
    light = linear_from_srgb(pixels[top : top + down, left : left + across] / 255)
    small = np.clip(resize(light, (120, 160), anti_aliasing=True), 0, 1)
    return Picture(origin=Origin(name=name, source=f"{name}.png"), pixels=small.astype(np.float32))


def colour_error(wanted: np.ndarray, shown: np.ndarray) -> float:
    labs = [rgb2lab(srgb_from_linear(gaussian_filter(light, (2, 2, 0)).clip(0, 1))) for light in (wanted, shown)]
    return float(deltaE_ciede2000(*labs).mean())


def wanted_of(picture: Picture, board: str) -> np.ndarray:
    if not board.startswith("grey"):
        return picture.pixels
    return np.repeat((picture.pixels @ LUMINANCE)[..., None], 3, axis=-1)


def advised(picture: Picture, board: Board, **where: float) -> CodedPicture:
    return advise(picture, board, patient=False, **where)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("palette", "name", "distance"),
    [
        ("lattice", "cat", 0.6),
        ("lattice", "rocket", 1.5),
        ("256 colours", "camera", 1.5),
        ("256 colours", "astronaut", 0.6),
        ("grey 4", "coffee", 0.6),
    ],
)
def test_search_and_advise_keep_the_colours_of_areas(
    boards: dict[str, Board], palette: str, name: str, distance: float
) -> None:
    """Pixels of 2 mm; what the eye is left with is no more than of plain diffusion. The benchmark has all cases."""
    board, picture = boards[palette], photograph(name)
    wanted, linear = wanted_of(picture, palette), board.palette.linear
    plain = linear[diffuse(picture, board, kernel="floyd_steinberg").codes]
    viewer = Viewer(reference=wanted, density=(np.deg2rad(1) * distance / 0.002,) * 2)
    for method in (search, advised):
        shown = linear[method(picture, board, screen_width=0.32, distance=distance).codes]  # type: ignore[operator]
        assert colour_error(wanted, shown) <= colour_error(wanted, plain) + 0.5, method
        assert viewer.error(shown).mean <= viewer.error(plain).mean, method
        if method is search:
            assert (shown != plain).any()


def test_the_error_is_that_of_scikit_image(boards: dict[str, Board]) -> None:
    for palette in ("lattice", "grey 4"):
        board, picture = boards[palette], photograph("cat")
        diffused, flat = diffuse(picture, board).codes, nearest(picture, board).codes
        wanted = wanted_of(picture, palette)
        areas = AreaColours(pixels=wanted, palette=board.palette, diffused=diffused)
        for codes in (diffused, flat):
            expected = colour_error(wanted, board.palette.linear[codes])
            assert areas.error(codes) == pytest.approx(expected, abs=0.02)
        assert areas.keeps(diffused)
        assert not areas.keeps(flat)


def test_diffusion_takes_the_areas_that_suffer_and_no_others(board: Board) -> None:
    """A picture whose left third is in other colours."""
    picture = photograph("coffee")
    diffused = diffuse(picture, board).codes
    spoilt = diffused.copy()
    spoilt[:, :50] = nearest(picture, board).codes[:, :50]
    areas = AreaColours(pixels=picture.pixels, palette=board.palette, diffused=diffused)
    assert not areas.keeps(spoilt)
    codes = areas.restrained(spoilt)
    assert areas.keeps(codes)
    assert (codes == spoilt).mean() > 0.65
    assert (codes != spoilt)[:, :50].mean() > 0.2
    assert areas.restrained(diffused) is diffused


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (3, 2)])
@pytest.mark.parametrize("method", [search, advised])
def test_small_pictures(board: Board, method: Callable[..., CodedPicture], shape: tuple[int, int]) -> None:
    picture = Picture(origin=Origin(name="p", source="p.png"), pixels=np.full((*shape, 3), 0.3, np.float32))
    assert method(picture, board).codes.shape == shape
