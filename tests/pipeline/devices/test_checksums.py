import pytest

from ladderlight.devices.checksums import checksums_of


def test_figures_of_the_usual_check_string():
    assert checksums_of(b"123456789") == {
        "crc32": "CBF43926",
        "sum8": "DD",
        "sum16": "01DD",
        "sum32": "000001DD",
        "sha256": "15e2b0d3c33891ebb0f1ef609ec419420c20e320ce94c65fbc8c3312448eb225",
    }


def test_a_sum_wraps_at_its_width():
    sums = checksums_of(b"\xff" * 258)
    assert (sums["sum8"], sums["sum16"], sums["sum32"]) == ("FE", "00FE", "000100FE")


@pytest.mark.parametrize("length", [0, 1, 4096])
def test_all_figures_have_their_full_width(length):
    sums = checksums_of(bytes(length))
    assert [len(sums[name]) for name in ("crc32", "sum8", "sum16", "sum32", "sha256")] == [8, 2, 4, 8, 64]
