"""Where the cache of pictures lies."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from ladderlight.cache.folder import VARIABLE, cache_folder
from ladderlight.cache.store import Cache


def test_the_variable_names_the_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, str(tmp_path / "mine"))
    assert cache_folder() == tmp_path / "mine"
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(VARIABLE, "below")
    assert cache_folder() == tmp_path / "below"


@pytest.mark.skipif(os.name == "nt", reason="the folders of XDG are not for Windows")
def test_the_users_cache_folder_is_that_of_the_system(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """XDG Base Directory Specification 0.8: $XDG_CACHE_HOME, else ~/.cache; a relative path is ignored."""
    monkeypatch.delenv(VARIABLE)
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    assert cache_folder() == tmp_path / "xdg" / "ladderlight" / "pictures"
    for nothing in ("", "relative"):
        monkeypatch.setenv("XDG_CACHE_HOME", nothing)
        assert cache_folder() == tmp_path / ".cache" / "ladderlight" / "pictures"
    monkeypatch.setattr("sys.platform", "darwin")
    assert cache_folder() == tmp_path / "Library" / "Caches" / "ladderlight" / "pictures"


@pytest.mark.skipif(os.name == "nt", reason="Windows closes the folder to others by itself")
def test_nothing_is_kept_in_another_users_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, str(tmp_path / "home" / "cache"))
    assert cache_folder() is not None
    monkeypatch.setattr("os.geteuid", lambda: os.getuid() + 1)
    assert cache_folder() is None
    assert Cache.of_user() is None


def test_a_name_that_no_folder_can_have_is_no_cache(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, "x" * 5000)
    assert cache_folder() is None
