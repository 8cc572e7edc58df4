"""The blur of a distance on the page, against the filters by which grain is measured."""

import numpy as np
import pytest
from scipy.ndimage import convolve1d

from ladderlight import Viewing
from ladderlight.board import linear_from_srgb, srgb_from_linear
from ladderlight.proof.page.document import joined_scripts
from ladderlight_stages.perception.vision import FILTERS, density_of, kernel

SEEN = (
    "([bytes, width, height, density]) => Array.from(seenFrom(Uint8ClampedArray.from(bytes), width, height, density))"
)


@pytest.fixture
def eye(browser):
    page = browser.new_page()
    page.add_script_tag(content=joined_scripts(("eye",)))
    yield page
    page.close()


def seen(pixels, density):
    """The narrow filters for luminance, scaled to a sum of 1, over each gun's light, mirrored at the edges."""
    linear = linear_from_srgb(pixels / 255)
    narrow = [(weight, degrees) for weight, degrees in FILTERS[0] if weight > 0]
    total = np.zeros(linear.shape)
    for weight, degrees in narrow:
        across = convolve1d(linear, kernel(degrees, density[0]), axis=1, mode="reflect")
        total += weight * convolve1d(across, kernel(degrees, density[1]), axis=0, mode="reflect")
    return np.rint(srgb_from_linear(np.clip(total / sum(weight for weight, _ in narrow), 0, 1)) * 255)


@pytest.mark.parametrize("density", [(3.0, 4.5), (15.0, 15.0), (70.0, 70.0)])
def test_it_is_the_measures_own_blur(eye, density):
    pixels = np.random.default_rng(2).integers(0, 256, (15, 20, 3))
    rgba = np.dstack([pixels, np.full((15, 20), 255)])
    found = np.array(eye.evaluate(SEEN, [rgba.ravel().tolist(), 20, 15, density])).reshape(15, 20, 4)
    assert (found[..., 3] == 255).all()
    assert np.abs(found[..., :3] - seen(pixels, density)).max() <= 1


def test_even_light_stays_and_a_pattern_of_dots_becomes_its_mean_from_afar(eye):
    def shown(values, density):
        rgba = np.dstack([*[values] * 3, np.full((15, 20), 255)]).astype(int)
        return np.array(eye.evaluate(SEEN, [rgba.ravel().tolist(), 20, 15, density])).reshape(15, 20, 4)[..., :3]

    assert (shown(np.full((15, 20), 128), [15, 15]) == 128).all()
    dots = 255 * (np.indices((15, 20)).sum(axis=0) % 2)
    # Half of the light, by IEC 61966-2-1; at its edges the picture is mirrored, and so not even.
    assert np.abs(shown(dots, [60, 60])[3:-3, 3:-3] - 188).max() <= 1


def test_the_density_is_that_of_the_measures(eye, make_board, memory):
    for address, clock in (
        (["x2-x9", "y2-y8"], "25175000"),
        (["x3-x9", "y3-y8"], "25175000"),
        (["x2-x8", "y2-y8"], "12587500"),
    ):
        board = make_board(memory(address=address, data=["b0-b1", "g0-g1", "r0-r1"]), clock=clock)
        size = [board.geometry.width, board.geometry.pixel_aspect, 0.28, 1.5]
        found = eye.evaluate("(size) => densityOf(...size)", size)
        assert found == pytest.approx(density_of(board, Viewing(screen_width=0.28, distance=1.5)))
