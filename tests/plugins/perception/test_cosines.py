import numpy as np
import pytest
from scipy.fft import dct, dctn, idctn

from ladderlight_stages.perception.vision import cosines_of, filtered, from_cosines


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 8, 15, 160, 241])
@pytest.mark.parametrize(("dtype", "near"), [(np.float32, 3e-6), (np.float64, 1e-13)])
def test_cosines_are_those_of_scipy(count, dtype, near):
    values = np.random.default_rng(count).random((3, count)).astype(dtype)
    cosines = cosines_of(values)
    assert cosines.dtype == dtype
    assert cosines == pytest.approx(dct(values.astype(float), type=2) / 2, abs=near * count)
    assert from_cosines(cosines) == pytest.approx(values, abs=near)


@pytest.mark.parametrize("shape", [(121, 160), (300, 321)])
def test_small_and_large_planes_are_filtered_as_by_scipy(shape):
    random = np.random.default_rng(7)
    plane, transfer = random.random(shape, dtype=np.float32), random.random(shape, dtype=np.float32)
    expected = idctn(dctn(plane.astype(float)) * transfer)
    assert filtered(plane, transfer) == pytest.approx(expected, abs=2e-5)
