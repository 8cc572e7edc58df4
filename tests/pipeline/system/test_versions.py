import pytest

from ladderlight.system.versions import changed_versions, versions


@pytest.mark.parametrize(
    ("before", "text"),
    [
        ({"numpy": "2.4", "numba": "0.68"}, ""),
        ({"numpy": "1.26", "numba": "0.68"}, "numpy 2.4 instead of 1.26"),
        ({"numpy": "1.26", "numba": "0.60"}, "numpy 2.4 instead of 1.26, numba 0.68 instead of 0.60"),
        ({"numba": "0.68"}, ""),
        ({}, ""),
    ],
)
def test_changed_versions_are_named(before, text):
    assert changed_versions(before, {"numpy": "2.4", "numba": "0.68"}) == text


def test_a_library_that_has_no_record_of_its_installation_is_left_out(monkeypatch):
    from importlib.metadata import PackageNotFoundError

    def version(name):
        if name == "numba":
            raise PackageNotFoundError(name)
        return "9.9"

    monkeypatch.setattr("ladderlight.system.versions.version", version)
    assert "numba" not in versions()
    assert versions()["scipy"] == "9.9"
